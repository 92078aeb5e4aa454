// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/hybrid.h"

#include <algorithm>
#include <string_view>
#include <utility>

namespace lacuna::iso9660 {
namespace {

bool has_text(Bytes b, std::size_t at, std::string_view text) {
  return b.size() >= at && as_text(b.subspan(at)).starts_with(text);
}

/// The map starts in the second block; each entry says how many there are.
std::vector<ApplePartition> partitions_with(Bytes image_start, std::size_t block_bytes) {
  constexpr std::size_t kEntryBytes = 80;  // up to the end of the type
  std::vector<ApplePartition> found;
  for (std::size_t at = block_bytes; at + kEntryBytes <= image_start.size(); at += block_bytes) {
    if (!has_text(image_start, at, "PM")) break;
    const Bytes e = image_start.subspan(at);
    found.push_back({be32(e, 4), be32(e, 8), be32(e, 12), e.subspan(16, 32), e.subspan(48, 32)});
    if (found.size() >= found.front().map_entries) break;
  }
  return found;
}

}  // namespace

// Common practice of PC partition tables.
std::optional<MasterBootRecord> decode_mbr(Bytes sector) {
  constexpr std::size_t kTable = 446, kEntryBytes = 16;
  if (sector.size() < 512 || sector[510] != 0x55 || sector[511] != 0xaa) return {};
  MasterBootRecord mbr;
  for (std::size_t i = 0; i < mbr.partitions.size(); ++i) {
    const Bytes e = sector.subspan(kTable + i * kEntryBytes, kEntryBytes);
    if (e[0] != 0 && e[0] != 0x80) return {};
    const MbrPartition p{e[0], e[4], le32(e, 8), le32(e, 12)};
    mbr.partitions[i] = p;
    if (p.type != 0 && p.sector_count != 0) ++mbr.used;
    mbr.gpt_protective |= p.type == 0xee;
  }
  return mbr;
}

bool is_gpt(Bytes image_start) noexcept { return has_text(image_start, 512, "EFI PART"); }

// Inside Macintosh: Devices, "Data Organization on Block Devices".
std::optional<ApplePartitionMap> decode_apple_partition_map(Bytes image_start) {
  ApplePartitionMap map;
  map.driver_descriptor = image_start.size() >= 8 && has_text(image_start, 0, "ER");
  if (map.driver_descriptor) map.device_blocks = be32(image_start, 4);
  // Hybrid discs hold entries at 512 whatever "ER" says of the block size, some hold both.
  for (const std::uint32_t block_bytes : {512u, 2048u}) {
    map.partitions = partitions_with(image_start, block_bytes);
    if (map.partitions.empty()) continue;
    map.map_block_bytes = block_bytes;
    break;
  }
  if (!map.driver_descriptor && map.partitions.empty()) return {};
  return map;
}

// Inside Macintosh: Files, "Master Directory Blocks"; Technical Note 1150, "Volume Header".
std::optional<AppleVolume> decode_apple_volume(Bytes volume_start) {
  constexpr std::size_t kHeaderAt = 1024;
  if (volume_start.size() < kHeaderAt + 128) return {};
  const Bytes h = volume_start.subspan(kHeaderAt);
  AppleVolume v;
  if (has_text(h, 0, "BD")) {
    v.block_count = be16(h, 18);
    v.block_bytes = be32(h, 20);
    v.name = h.subspan(37, std::min<std::size_t>(h[36], 27));
    v.wraps_hfs_plus = has_text(h, 124, "H+") || has_text(h, 124, "HX");
    // Allocation blocks are multiples of 512 bytes.
    if (v.block_bytes == 0 || v.block_bytes % 512 != 0) return {};
    return v;
  }
  const std::uint16_t version = be16(h, 2);
  if (has_text(h, 0, "H+") && version == 4) {
    v.kind = AppleFileSystem::kHfsPlus;
  } else if (has_text(h, 0, "HX") && version == 5) {
    v.kind = AppleFileSystem::kHfsx;
  } else {
    return {};
  }
  v.block_bytes = be32(h, 40);
  v.block_count = be32(h, 44);
  return v;
}

// ECMA-167 2/9.1: structure type at 0 (not looked at: CD001 and ECMA-168 give it other meanings), identifier, version.
std::optional<VrsId> decode_vrs(Bytes sector) noexcept {
  constexpr std::pair<std::string_view, VrsId> kIds[] = {
      {"BEA01", VrsId::kBea01}, {"NSR02", VrsId::kNsr02}, {"NSR03", VrsId::kNsr03}, {"TEA01", VrsId::kTea01},
      {"BOOT2", VrsId::kBoot2}, {"CDW02", VrsId::kCdw02}, {"CD001", VrsId::kCd001}};
  if (sector.size() < 7) return {};
  for (const auto& [text, id] : kIds) {
    if (!has_text(sector, 1, text)) continue;
    // An enhanced volume descriptor of ISO 9660:1999 has version 2.
    const bool version_fits = sector[6] == 1 || (id == VrsId::kCd001 && sector[6] == 2);
    return version_fits ? std::optional(id) : std::nullopt;
  }
  return {};
}

}  // namespace lacuna::iso9660
