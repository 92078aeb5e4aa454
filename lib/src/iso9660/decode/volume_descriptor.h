// SPDX-License-Identifier: GPL-3.0-or-later
// Volume descriptors (ECMA-119 8). The standard counts bytes from 1; offsets here are from 0.
// Every decoder takes one logical sector (2048 bytes) and gives nothing when it is shorter or of another type.
// All Bytes are views into that sector.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "lacuna/timestamp.h"

namespace lacuna::iso9660 {

inline constexpr std::size_t kDescriptorBytes = 2048;

/// ECMA-119 8.1.1.
namespace descriptor_type {
inline constexpr std::uint8_t kBootRecord = 0;
inline constexpr std::uint8_t kPrimary = 1;
inline constexpr std::uint8_t kSupplementary = 2;  ///< Version 2: enhanced (ISO 9660:1999).
inline constexpr std::uint8_t kPartition = 3;
inline constexpr std::uint8_t kSetTerminator = 255;
}  // namespace descriptor_type

/// ECMA-119 8.1: type, "CD001", version.
struct DescriptorHeader {
  std::uint8_t type = 0;
  std::uint8_t version = 0;
};
std::optional<DescriptorHeader> decode_descriptor_header(Bytes sector);

/// Whether the sector is a volume descriptor of the form older than the standard ("CDROM" at 9, High Sierra).
bool is_high_sierra(Bytes sector);

/// What is wrong with a decoded descriptor; a bit set. The values are usable all the same.
namespace descriptor_problem {
inline constexpr std::uint32_t kVersion = 1;                  ///< Not 1 (nor 2 where 8.5.2 allows it).
inline constexpr std::uint32_t kSpaceSizeHalves = 2;          ///< 8.4.8
inline constexpr std::uint32_t kSetSizeHalves = 4;            ///< 8.4.10
inline constexpr std::uint32_t kSequenceHalves = 8;           ///< 8.4.11
inline constexpr std::uint32_t kBlockSizeHalves = 16;         ///< 8.4.12
inline constexpr std::uint32_t kPathTableSizeHalves = 32;     ///< 8.4.13
inline constexpr std::uint32_t kBlockSize = 64;               ///< 8.4.12: neither half is 512, 1024 or 2048.
inline constexpr std::uint32_t kRootRecord = 128;             ///< 8.4.18: not 34 bytes long, or not of a directory.
inline constexpr std::uint32_t kCreationDate = 256;           ///< 8.4.26
inline constexpr std::uint32_t kModificationDate = 512;       ///< 8.4.27
inline constexpr std::uint32_t kExpirationDate = 1024;        ///< 8.4.28
inline constexpr std::uint32_t kEffectiveDate = 2048;         ///< 8.4.29
inline constexpr std::uint32_t kFileStructureVersion = 4096;  ///< 8.4.30: not 1 (2 for enhanced).
inline constexpr std::uint32_t kReserved = 8192;              ///< A byte that must be zero is not.
}  // namespace descriptor_problem

/// ECMA-119 8.4 (primary) and 8.5 (supplementary, enhanced).
struct VolumeDescriptor {
  std::uint8_t type = 0;
  std::uint8_t version = 0;
  std::uint8_t flags = 0;  ///< 8.5.3; bit 0: an escape sequence is not registered. 0 in a primary.
  std::uint8_t file_structure_version = 0;
  bool xa_marker = false;  ///< "CD-XA001" at 1024, in the application's own area: the volume has CD-ROM XA attributes.
  Bytes system_id;         ///< 32 bytes. All texts as recorded, padding included.
  Bytes volume_id;         ///< 32 bytes.
  BothEndian<std::uint32_t> space_size;  ///< Logical blocks.
  Bytes escape_sequences;                ///< 32 bytes; zero in a primary.
  BothEndian<std::uint16_t> set_size;
  BothEndian<std::uint16_t> sequence_number;
  BothEndian<std::uint16_t> logical_block_size;  ///< Bytes.
  BothEndian<std::uint32_t> path_table_size;     ///< Bytes.
  std::uint32_t path_table_l = 0;                ///< Logical block; 0 in either optional one: there is none.
  std::uint32_t optional_path_table_l = 0;
  std::uint32_t path_table_m = 0;
  std::uint32_t optional_path_table_m = 0;
  Bytes root_record;                                                    ///< 34 bytes, for decode_root_record().
  Bytes volume_set_id, publisher_id, data_preparer_id, application_id;  ///< 128 bytes each.
  Bytes copyright_file_id, abstract_file_id, bibliographic_file_id;     ///< 37 bytes each.
  Timestamp created, modified, expires, effective;                      ///< Not known as well when undecodable.
  std::uint32_t problems = 0;                                           ///< descriptor_problem

  /// The half that is 512, 1024 or 2048; 2048 when neither is (then kBlockSize is set).
  std::uint32_t block_bytes() const noexcept;
};

/// Types 1 and 2.
std::optional<VolumeDescriptor> decode_volume_descriptor(Bytes sector);

/// 1 to 3 when the escape sequences are those of Joliet (UCS-2 levels 1 to 3: 25 2F 40, 43, 45), else 0.
int joliet_level(const VolumeDescriptor& d) noexcept;

/// ISO 9660:1999: type 2, version 2.
bool is_enhanced(const VolumeDescriptor& d) noexcept;

/// ECMA-119 8.2.
struct BootRecord {
  std::uint8_t version = 0;
  Bytes boot_system_id;           ///< 32 bytes.
  Bytes boot_id;                  ///< 32 bytes.
  bool el_torito = false;         ///< The boot system is "EL TORITO SPECIFICATION".
  std::uint32_t catalog_lba = 0;  ///< Sector of the boot catalog, when el_torito.
};
std::optional<BootRecord> decode_boot_record(Bytes sector);

/// ECMA-119 8.6.
struct VolumePartition {
  std::uint8_t version = 0;
  Bytes system_id;                     ///< 32 bytes.
  Bytes partition_id;                  ///< 32 bytes.
  BothEndian<std::uint32_t> location;  ///< Logical block.
  BothEndian<std::uint32_t> size;      ///< Logical blocks.
};
std::optional<VolumePartition> decode_volume_partition(Bytes sector);

/// ECMA-119 8.3.
struct SetTerminator {
  std::uint8_t version = 0;
  bool reserved_zero = true;  ///< 8.3.4: all the rest shall be zero.
};
std::optional<SetTerminator> decode_set_terminator(Bytes sector);

}  // namespace lacuna::iso9660
