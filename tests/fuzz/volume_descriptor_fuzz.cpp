// SPDX-License-Identifier: GPL-3.0-or-later
// Any sector as each kind of volume descriptor.
#include "fuzz/promise.h"
#include "iso9660/decode/directory_record.h"
#include "iso9660/decode/volume_descriptor.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace lacuna;
  using namespace lacuna::iso9660;
  using test::require;
  const Bytes input(data, size);
  const auto header = decode_descriptor_header(input);
  is_high_sierra(input);
  int kinds = 0;
  if (const auto d = decode_volume_descriptor(input)) {
    ++kinds;
    test::require_inside(input, {d->system_id, d->volume_id, d->escape_sequences, d->root_record, d->volume_set_id,
                                 d->publisher_id, d->data_preparer_id, d->application_id, d->copyright_file_id,
                                 d->abstract_file_id, d->bibliographic_file_id});
    const std::uint32_t block = d->block_bytes();
    require(block == 512 || block == 1024 || block == 2048);
    require(joliet_level(*d) == 0 || !is_enhanced(*d));
    require(decode_root_record(d->root_record).has_value());
  }
  if (const auto r = decode_boot_record(input)) {
    ++kinds;
    test::require_inside(input, {r->boot_system_id, r->boot_id});
    require(r->el_torito || r->catalog_lba == 0);
  }
  if (const auto p = decode_volume_partition(input)) {
    ++kinds;
    test::require_inside(input, {p->system_id, p->partition_id});
  }
  if (decode_set_terminator(input)) ++kinds;
  require(kinds <= 1 && (kinds == 0 || header));
  return 0;
}
