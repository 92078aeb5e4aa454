// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as each descriptor of a volume descriptor sequence, with partition maps, integrity and file sets.
#include <algorithm>

#include "fuzz/promise.h"
#include "udf/decode/file_set.h"
#include "udf/decode/partition_map.h"
#include "udf/decode/space.h"
#include "udf/decode/volume.h"

namespace {

using namespace lacuna;
using namespace lacuna::udf;
using test::require;
using test::require_inside;

/// Whatever was decoded and is proven by its tag lies within the input.
template <class T>
void check_proof(Bytes input, const T& d) {
  if (check_tag(input, d.tag.location, d.bytes).proven()) require(d.bytes <= input.size());
}

void check_maps(Bytes input, Bytes maps, std::uint32_t count) {
  PartitionMapReader reader(maps, count);
  std::size_t seen = 0, bytes = 0;
  while (const auto m = reader.next()) {
    require(m->reference == seen++ && m->raw.size() >= 2 && m->sparing_tables <= m->sparing_table_sector.size());
    require_inside(maps, {m->raw, m->identifier.raw});
    bytes += m->raw.size();
  }
  require(seen <= count && bytes <= maps.size() && reader.stop() != PartitionMapReader::Stop::kNone);
  require_inside(input, {maps});
}

void check_volume(Bytes b) {
  if (const auto d = decode_anchor(b)) check_proof(b, *d);
  if (const auto d = decode_primary_volume(b)) {
    check_proof(b, *d);
    require_inside(b, {d->volume_id, d->volume_set_id, d->application.raw, d->implementation.raw});
  }
  if (const auto d = decode_volume_pointer(b)) check_proof(b, *d);
  if (const auto d = decode_implementation_use_volume(b)) {
    check_proof(b, *d);
    require_inside(b, {d->implementation.raw, d->logical_volume_id, d->info[0], d->info[2], d->lv_info_writer.raw});
  }
  if (const auto d = decode_partition(b)) {
    check_proof(b, *d);
    require_inside(b, {d->contents.raw, d->implementation.raw});
  }
  if (const auto d = decode_logical_volume(b)) {
    check_proof(b, *d);
    require_inside(b, {d->volume_id, d->domain.raw, d->implementation.raw});
    check_maps(b, d->maps, d->map_count);
  }
  if (const auto d = decode_unallocated_space(b)) {
    check_proof(b, *d);
    require_inside(b, {d->extents});
    require(d->size() <= d->count && d->extents.size() % kExtentAdBytes == 0);
    if (d->size() != 0) require((*d)[d->size() - 1].sector == le32(d->extents, d->extents.size() - 4));
  }
  if (const auto d = decode_terminating(b)) check_proof(b, *d);
}

void check_integrity(Bytes b) {
  const auto d = decode_integrity(b);
  if (!d) return;
  check_proof(b, *d);
  require_inside(b, {d->free_table, d->size_table, d->implementation.raw});
  require(d->free_table.size() == d->size_table.size());
  for (const std::size_t i : {std::size_t{0}, d->free_table.size() / 4, ~std::size_t{0}}) {
    require(i < d->partitions || (!d->free_blocks(i) && !d->size_blocks(i)));
  }
}

void check_space(Bytes b) {
  if (const auto d = decode_file_set(b)) {
    check_proof(b, *d);
    require_inside(b, {d->logical_volume_id, d->file_set_id, d->copyright_id, d->abstract_id, d->domain.raw});
  }
  if (const auto d = decode_space_bitmap(b)) {
    require_inside(b, {d->bitmap});
    require(d->bitmap.size() <= d->bitmap_bytes && d->cut == (d->bitmap.size() < d->bitmap_bytes));
    require(d->free_blocks() <= std::min<std::uint64_t>(d->bits, std::uint64_t{d->bitmap.size()} * 8));
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const Bytes input(data, std::min<std::size_t>(size, 70000));
  check_volume(input);
  check_integrity(input);
  check_space(input);
  // As maps by themselves too, since a count before them has no chance to be right after mutation.
  check_maps(input, input, input.empty() ? 0 : input[0]);
  check_maps(input, input, 0xffffffff);
  return 0;
}
