// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/volume_descriptor.h"

#include <algorithm>
#include <string_view>

#include "iso9660/decode/date.h"
#include "iso9660/decode/directory_record.h"

namespace lacuna::iso9660 {
namespace {

bool holds_text(Bytes b, std::size_t at, std::string_view text) {
  return b.size() >= at && as_text(b.subspan(at)).starts_with(text);
}

bool is_block_size(unsigned bytes) { return bytes == 512 || bytes == 1024 || bytes == 2048; }

/// The header of a whole sector that holds a descriptor of this type.
std::optional<DescriptorHeader> header_of(Bytes sector, std::uint8_t type) {
  if (sector.size() < kDescriptorBytes) return {};
  const auto header = decode_descriptor_header(sector);
  if (!header || header->type != type) return {};
  return header;
}

Timestamp date_or_problem(Bytes b, std::uint32_t bit, std::uint32_t& problems) {
  const auto date = decode_long_date(b);
  if (!date) problems |= bit;
  return date.value_or(Timestamp{});
}

/// 8.4 and 8.5: what the decoded values have against the standard, dates excepted.
std::uint32_t problems_of(const VolumeDescriptor& d, Bytes sector) {
  std::uint32_t found = 0;
  const auto check = [&](bool fine, std::uint32_t bit) { found |= fine ? 0 : bit; };
  const bool primary = d.type == descriptor_type::kPrimary;
  check(d.version == 1 || is_enhanced(d), descriptor_problem::kVersion);
  check(d.space_size.agree(), descriptor_problem::kSpaceSizeHalves);
  check(d.set_size.agree(), descriptor_problem::kSetSizeHalves);
  check(d.sequence_number.agree(), descriptor_problem::kSequenceHalves);
  check(d.logical_block_size.agree(), descriptor_problem::kBlockSizeHalves);
  check(d.path_table_size.agree(), descriptor_problem::kPathTableSizeHalves);
  check(is_block_size(d.logical_block_size.little) || is_block_size(d.logical_block_size.big),
        descriptor_problem::kBlockSize);
  check(d.file_structure_version == (is_enhanced(d) ? 2 : 1), descriptor_problem::kFileStructureVersion);
  check(all_zero(sector.subspan(72, 8)) && sector[882] == 0 && all_zero(sector.subspan(1395, 653)) &&
            (!primary || (sector[7] == 0 && all_zero(sector.subspan(88, 32)))),
        descriptor_problem::kReserved);
  const auto root = decode_root_record(d.root_record);
  check(root && root->length == kRootRecordBytes && root->is_directory() && root->is_self(),
        descriptor_problem::kRootRecord);
  return found;
}

}  // namespace

// ECMA-119 8.1
std::optional<DescriptorHeader> decode_descriptor_header(Bytes sector) {
  if (sector.size() < 7 || !holds_text(sector, 1, "CD001")) return {};
  return DescriptorHeader{sector[0], sector[6]};
}

bool is_high_sierra(Bytes sector) { return holds_text(sector, 9, "CDROM"); }

std::uint32_t VolumeDescriptor::block_bytes() const noexcept {
  if (is_block_size(logical_block_size.little)) return logical_block_size.little;
  if (is_block_size(logical_block_size.big)) return logical_block_size.big;
  return 2048;
}

// ECMA-119 8.4 and 8.5
std::optional<VolumeDescriptor> decode_volume_descriptor(Bytes sector) {
  auto header = header_of(sector, descriptor_type::kPrimary);
  if (!header) header = header_of(sector, descriptor_type::kSupplementary);
  if (!header) return {};
  VolumeDescriptor d;
  d.type = header->type;
  d.version = header->version;
  d.flags = d.type == descriptor_type::kSupplementary ? sector[7] : std::uint8_t{0};
  d.system_id = sector.subspan(8, 32);
  d.volume_id = sector.subspan(40, 32);
  d.space_size = both32(sector, 80);
  d.escape_sequences = sector.subspan(88, 32);
  d.set_size = both16(sector, 120);
  d.sequence_number = both16(sector, 124);
  d.logical_block_size = both16(sector, 128);
  d.path_table_size = both32(sector, 132);
  d.path_table_l = le32(sector, 140);
  d.optional_path_table_l = le32(sector, 144);
  d.path_table_m = be32(sector, 148);
  d.optional_path_table_m = be32(sector, 152);
  d.root_record = sector.subspan(156, kRootRecordBytes);
  d.volume_set_id = sector.subspan(190, 128);
  d.publisher_id = sector.subspan(318, 128);
  d.data_preparer_id = sector.subspan(446, 128);
  d.application_id = sector.subspan(574, 128);
  d.copyright_file_id = sector.subspan(702, 37);
  d.abstract_file_id = sector.subspan(739, 37);
  d.bibliographic_file_id = sector.subspan(776, 37);
  d.created = date_or_problem(sector.subspan(813), descriptor_problem::kCreationDate, d.problems);
  d.modified = date_or_problem(sector.subspan(830), descriptor_problem::kModificationDate, d.problems);
  d.expires = date_or_problem(sector.subspan(847), descriptor_problem::kExpirationDate, d.problems);
  d.effective = date_or_problem(sector.subspan(864), descriptor_problem::kEffectiveDate, d.problems);
  d.file_structure_version = sector[881];
  d.xa_marker = holds_text(sector, 1024, "CD-XA001");
  d.problems |= problems_of(d, sector);
  return d;
}

int joliet_level(const VolumeDescriptor& d) noexcept {
  if (d.type != descriptor_type::kSupplementary || is_enhanced(d)) return 0;
  if (d.escape_sequences.size() < 3 || d.escape_sequences[0] != 0x25 || d.escape_sequences[1] != 0x2f) return 0;
  switch (d.escape_sequences[2]) {
    case 0x40:
      return 1;
    case 0x43:
      return 2;
    case 0x45:
      return 3;
    default:
      return 0;
  }
}

bool is_enhanced(const VolumeDescriptor& d) noexcept {
  return d.type == descriptor_type::kSupplementary && d.version == 2;
}

// ECMA-119 8.2; El Torito 1.0, figure 7: the catalog's sector follows the two identifiers.
std::optional<BootRecord> decode_boot_record(Bytes sector) {
  const auto header = header_of(sector, descriptor_type::kBootRecord);
  if (!header) return {};
  BootRecord r;
  r.version = header->version;
  r.boot_system_id = sector.subspan(7, 32);
  r.boot_id = sector.subspan(39, 32);
  r.el_torito = holds_text(sector, 7, "EL TORITO SPECIFICATION");
  if (r.el_torito) r.catalog_lba = le32(sector, 71);
  return r;
}

// ECMA-119 8.6
std::optional<VolumePartition> decode_volume_partition(Bytes sector) {
  const auto header = header_of(sector, descriptor_type::kPartition);
  if (!header) return {};
  return VolumePartition{header->version, sector.subspan(8, 32), sector.subspan(40, 32), both32(sector, 72),
                         both32(sector, 80)};
}

// ECMA-119 8.3
std::optional<SetTerminator> decode_set_terminator(Bytes sector) {
  const auto header = header_of(sector, descriptor_type::kSetTerminator);
  if (!header) return {};
  return SetTerminator{header->version, all_zero(sector.subspan(7, kDescriptorBytes - 7))};
}

}  // namespace lacuna::iso9660
