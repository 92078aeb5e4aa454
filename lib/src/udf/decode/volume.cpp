// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/volume.h"

#include <bit>

#include "udf/decode/cs0.h"
#include "udf/decode/read_tag.h"

namespace lacuna::udf {
namespace {

std::uint32_t text_problem(Bytes field) { return is_dstring(field) ? 0 : volume_problem::kText; }

std::uint32_t charspec_problem(Bytes b, std::size_t at) {
  return is_osta_charspec(b.subspan(at, kCharspecBytes)) ? 0 : volume_problem::kCharspec;
}

std::uint32_t extent_problem(const ExtentAd& e) {
  return e.length_bytes > kMaxExtentBytes ? volume_problem::kExtent : 0;
}

std::optional<std::uint32_t> entry_of(Bytes table, std::size_t i) {
  if (i >= table.size() / 4) return {};
  const std::uint32_t value = le32(table, i * 4);
  if (value == 0xffffffff) return {};
  return value;
}

}  // namespace

// ECMA-167 3/10.2
std::optional<Anchor> decode_anchor(Bytes b) noexcept {
  const auto tag = read_tag(b, tag_id::kAnchor, 32);
  if (!tag) return {};
  Anchor a;
  a.tag = *tag;
  a.main = extent_ad_at(b, 16);
  a.reserve = extent_ad_at(b, 24);
  a.bytes = 32;
  a.problems = extent_problem(a.main) | extent_problem(a.reserve);
  if (a.main.none()) a.problems |= volume_problem::kExtent;
  return a;
}

// ECMA-167 3/10.1
std::optional<PrimaryVolume> decode_primary_volume(Bytes b) noexcept {
  constexpr std::size_t kBytes = 490;
  const auto tag = read_tag(b, tag_id::kPrimaryVolume, kBytes);
  if (!tag) return {};
  PrimaryVolume v;
  v.tag = *tag;
  v.sequence = le32(b, 16);
  v.number = le32(b, 20);
  v.volume_id = b.subspan(24, 32);
  v.volume_number = le16(b, 56);
  v.max_volume_number = le16(b, 58);
  v.interchange_level = le16(b, 60);
  v.volume_set_id = b.subspan(72, 128);
  v.application = regid_at(b, 344);
  v.recorded = time_at(b, 376, volume_problem::kTime, v.problems);
  v.implementation = regid_at(b, 388);
  v.flags = le16(b, 488);
  v.bytes = kBytes;
  v.problems |=
      text_problem(v.volume_id) | text_problem(v.volume_set_id) | charspec_problem(b, 200) | charspec_problem(b, 264);
  return v;
}

// ECMA-167 3/10.3
std::optional<VolumePointer> decode_volume_pointer(Bytes b) noexcept {
  const auto tag = read_tag(b, tag_id::kVolumePointer, 28);
  if (!tag) return {};
  VolumePointer p;
  p.tag = *tag;
  p.sequence = le32(b, 16);
  p.next = extent_ad_at(b, 20);
  p.bytes = 28;
  p.problems = extent_problem(p.next);
  if (p.next.none()) p.problems |= volume_problem::kExtent;
  return p;
}

// ECMA-167 3/10.4, UDF 2.2.7
std::optional<ImplementationUseVolume> decode_implementation_use_volume(Bytes b) noexcept {
  constexpr std::size_t kFixedBytes = 52, kLvInfoBytes = 384;
  const auto tag = read_tag(b, tag_id::kImplementationUse, kFixedBytes);
  if (!tag) return {};
  ImplementationUseVolume v;
  v.tag = *tag;
  v.sequence = le32(b, 16);
  v.implementation = regid_at(b, 20);
  v.bytes = kFixedBytes;
  if (!v.implementation.is("*UDF LV Info") || b.size() < kLvInfoBytes) return v;
  v.is_lv_info = true;
  v.logical_volume_id = b.subspan(116, 128);
  v.problems = charspec_problem(b, 52) | text_problem(v.logical_volume_id);
  for (std::size_t i = 0; i < 3; ++i) {
    v.info[i] = b.subspan(244 + i * 36, 36);
    v.problems |= text_problem(v.info[i]);
  }
  v.lv_info_writer = regid_at(b, 352);
  v.bytes = kLvInfoBytes;
  return v;
}

// ECMA-167 3/10.5, 4/14.3
std::optional<Partition> decode_partition(Bytes b) noexcept {
  constexpr std::size_t kBytes = 228;
  const auto tag = read_tag(b, tag_id::kPartition, kBytes);
  if (!tag) return {};
  Partition p;
  p.tag = *tag;
  p.sequence = le32(b, 16);
  p.flags = le16(b, 20);
  p.number = le16(b, 22);
  p.contents = regid_at(b, 24);
  if (p.is_nsr()) {
    p.header = {short_ad_at(b, 56), short_ad_at(b, 64), short_ad_at(b, 72), short_ad_at(b, 80), short_ad_at(b, 88)};
  } else {
    p.problems |= volume_problem::kIdentifier;
  }
  const std::uint32_t access = le32(b, 184);
  p.access = static_cast<AccessType>(access);
  if (access > 4) p.problems |= volume_problem::kAccessType;
  p.start_sector = le32(b, 188);
  p.length_sectors = le32(b, 192);
  p.implementation = regid_at(b, 196);
  p.bytes = kBytes;
  return p;
}

// ECMA-167 3/10.6
std::optional<LogicalVolume> decode_logical_volume(Bytes b) noexcept {
  constexpr std::size_t kFixedBytes = 440;
  const auto tag = read_tag(b, tag_id::kLogicalVolume, kFixedBytes);
  if (!tag) return {};
  LogicalVolume v;
  v.tag = *tag;
  v.sequence = le32(b, 16);
  v.volume_id = b.subspan(84, 128);
  v.block_bytes = le32(b, 212);
  v.domain = regid_at(b, 216);
  v.file_set = long_ad_at(b, 248);
  const std::uint32_t table_bytes = le32(b, 264);
  v.map_count = le32(b, 268);
  v.implementation = regid_at(b, 272);
  v.integrity = extent_ad_at(b, 432);
  v.maps = cut_view(b, kFixedBytes, table_bytes);
  v.bytes = std::uint64_t{kFixedBytes} + table_bytes;

  v.problems = charspec_problem(b, 20) | text_problem(v.volume_id) | extent_problem(v.integrity);
  if (v.maps.size() < table_bytes) v.problems |= volume_problem::kTableBeyond;
  if (!std::has_single_bit(v.block_bytes) || v.block_bytes < 512 || v.block_bytes > 32768)
    v.problems |= volume_problem::kBlockSize;
  if (v.file_set.none()) v.problems |= volume_problem::kExtent;
  if (!v.domain.is("*OSTA UDF Compliant")) v.problems |= volume_problem::kIdentifier;
  return v;
}

// ECMA-167 3/10.8
std::optional<UnallocatedSpace> decode_unallocated_space(Bytes b) noexcept {
  constexpr std::size_t kFixedBytes = 24;
  const auto tag = read_tag(b, tag_id::kUnallocatedSpace, kFixedBytes);
  if (!tag) return {};
  UnallocatedSpace s;
  s.tag = *tag;
  s.sequence = le32(b, 16);
  s.count = le32(b, 20);
  const std::uint64_t table_bytes = std::uint64_t{s.count} * kExtentAdBytes;
  s.extents = cut_view(b, kFixedBytes, table_bytes);
  s.bytes = kFixedBytes + table_bytes;
  if (s.extents.size() < table_bytes) {
    s.extents = s.extents.first(s.extents.size() / kExtentAdBytes * kExtentAdBytes);
    s.problems |= volume_problem::kTableBeyond;
  }
  return s;
}

// ECMA-167 3/10.9, 4/14.2
std::optional<Terminating> decode_terminating(Bytes b) noexcept {
  const auto tag = read_tag(b, tag_id::kTerminating, kTagBytes);
  if (!tag) return {};
  const Bytes rest = cut_view(b, kTagBytes, kVolumeDescriptorBytes - kTagBytes);
  return Terminating{*tag, all_zero(rest), kTagBytes};
}

// ECMA-167 3/10.10, UDF 2.2.6
std::optional<Integrity> decode_integrity(Bytes b) noexcept {
  constexpr std::size_t kFixedBytes = 80, kUseBytes = 46;
  const auto tag = read_tag(b, tag_id::kIntegrity, kFixedBytes);
  if (!tag) return {};
  Integrity v;
  v.tag = *tag;
  v.recorded = time_at(b, 16, volume_problem::kTime, v.problems);
  v.type = le32(b, 28);
  v.next = extent_ad_at(b, 32);
  v.next_unique_id = le64(b, 40);
  v.partitions = le32(b, 72);
  const std::uint32_t use_bytes = le32(b, 76);
  const std::uint64_t table_bytes = std::uint64_t{v.partitions} * 4;
  v.bytes = kFixedBytes + 2 * table_bytes + use_bytes;
  v.problems |= extent_problem(v.next);
  if (v.bytes > b.size()) v.problems |= volume_problem::kTableBeyond;
  if (kFixedBytes + 2 * table_bytes > b.size()) return v;

  const auto table = static_cast<std::size_t>(table_bytes);
  v.free_table = b.subspan(kFixedBytes, table);
  v.size_table = b.subspan(kFixedBytes + table, table);
  const Bytes use = cut_view(b, kFixedBytes + 2 * table, use_bytes);
  if (use.size() < kUseBytes) return v;
  v.has_use = true;
  v.implementation = regid_at(use, 0);
  v.files = le32(use, 32);
  v.directories = le32(use, 36);
  v.min_read = le16(use, 40);
  v.min_write = le16(use, 42);
  v.max_write = le16(use, 44);
  return v;
}

std::optional<std::uint32_t> Integrity::free_blocks(std::size_t i) const noexcept { return entry_of(free_table, i); }
std::optional<std::uint32_t> Integrity::size_blocks(std::size_t i) const noexcept { return entry_of(size_table, i); }

}  // namespace lacuna::udf
