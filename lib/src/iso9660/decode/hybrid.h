// SPDX-License-Identifier: GPL-3.0-or-later
// What else may live on a disc beside ISO 9660: partition tables and other file systems, recognised, not read.
// Offsets are from 0. Sources: common practice of partition tables; Apple's Inside Macintosh and Technical Note 1150;
// ECMA-167 2/9.1 for the recognition sequence (values from memory).
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "base/bytes.h"

namespace lacuna::iso9660 {

/// One of the four entries of a master boot record. Sectors are of 512 bytes.
struct MbrPartition {
  std::uint8_t status = 0;  ///< 80 active, 00 not.
  std::uint8_t type = 0;    ///< 0: unused; EE: protects a GUID partition table.
  std::uint32_t first_sector = 0;
  std::uint32_t sector_count = 0;
};
struct MasterBootRecord {
  std::array<MbrPartition, 4> partitions;
  std::size_t used = 0;         ///< Entries with a type and a length.
  bool gpt_protective = false;  ///< One of them is of type EE.
};
/// Needs 512 bytes. Nothing: no 55 AA at 510, or an entry's status is neither 00 nor 80 (then it is boot code).
std::optional<MasterBootRecord> decode_mbr(Bytes sector);

/// "EFI PART" at byte 512 of the image.
bool is_gpt(Bytes image_start) noexcept;

/// An entry "PM" of an Apple partition map.
struct ApplePartition {
  std::uint32_t map_entries = 0;  ///< How many the map says it has.
  std::uint32_t first_block = 0;  ///< In blocks of the map's block size.
  std::uint32_t block_count = 0;
  Bytes name;  ///< 32 bytes, NUL padded.
  Bytes type;  ///< 32 bytes, NUL padded: "Apple_HFS", "Apple_partition_map", …
};
struct ApplePartitionMap {
  bool driver_descriptor = false;     ///< "ER" at 0.
  std::uint32_t device_blocks = 0;    ///< By it.
  std::uint32_t map_block_bytes = 0;  ///< 512 or 2048, where entries were found.
  std::vector<ApplePartition> partitions;
};
/// The start of an image, 32 KiB (the system area) being enough. Nothing when there is neither "ER" nor a "PM" entry.
std::optional<ApplePartitionMap> decode_apple_partition_map(Bytes image_start);

enum class AppleFileSystem : std::uint8_t { kHfs, kHfsPlus, kHfsx };
struct AppleVolume {
  AppleFileSystem kind = AppleFileSystem::kHfs;
  bool wraps_hfs_plus = false;    ///< HFS that only holds an embedded HFS+ volume.
  std::uint32_t block_bytes = 0;  ///< Allocation blocks.
  std::uint32_t block_count = 0;
  Bytes name;  ///< HFS only, MacRoman; HFS+ keeps it in its catalog.
};
/// `volume_start` is the start of an image or of a partition; the header is at byte 1024.
std::optional<AppleVolume> decode_apple_volume(Bytes volume_start);

/// Identifiers of a volume recognition sequence, one descriptor a 2048-byte sector (ECMA-167 2/9.1, ECMA-168).
enum class VrsId : std::uint8_t { kBea01, kNsr02, kNsr03, kTea01, kBoot2, kCdw02, kCd001 };
/// Nothing: too short, another identifier, or a structure version that is not 1.
std::optional<VrsId> decode_vrs(Bytes sector) noexcept;

}  // namespace lacuna::iso9660
