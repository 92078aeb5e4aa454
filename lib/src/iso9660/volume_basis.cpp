// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/volume_basis.h"

#include "media/stretch.h"

namespace lacuna::iso9660 {
namespace {

std::optional<DirectoryRecord> without_views(std::optional<DirectoryRecord> r) {
  if (r) r->identifier = r->system_use = {};
  return r;
}

}  // namespace

VolumeBasis basis_of(const VolumeDescriptor& d, std::int64_t shift_bytes) {
  VolumeBasis b;
  b.root = without_views(decode_root_record(d.root_record));
  b.block_bytes = d.block_bytes();
  b.shift_bytes = shift_bytes;
  b.space_bytes = b.at(d.space_size.value());
  if (lies_before_disc(b.space_bytes)) b.space_bytes = 0;
  b.set_size = d.set_size.value();
  b.sequence_number = d.sequence_number.value();
  b.path_table_bytes = d.path_table_size.value();
  const auto place = [&](std::uint32_t block, bool big_endian, const char* label) {
    return VolumeBasis::TablePlace{block == 0 ? 0 : b.at(block), big_endian, label};
  };
  b.path_tables = {place(d.path_table_l, false, "path table L"), place(d.path_table_m, true, "path table M"),
                   place(d.optional_path_table_l, false, "optional path table L"),
                   place(d.optional_path_table_m, true, "optional path table M")};
  return b;
}

std::optional<DirectoryRecord> read_self_record(const Image& image, std::uint64_t position) {
  if (position >= image.end_byte()) return {};
  const Stretch sector = read_stretch(image, position, kSectorBytes - position % kSectorBytes);
  if (!sector.whole()) return {};
  auto r = decode_directory_record(sector.bytes);
  if (!r || !r->is_self()) return {};
  return without_views(std::move(r));
}

}  // namespace lacuna::iso9660
