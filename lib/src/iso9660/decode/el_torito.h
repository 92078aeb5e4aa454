// SPDX-License-Identifier: GPL-3.0-or-later
// El Torito (Bootable CD-ROM Format Specification 1.0): the boot catalog, 32-byte entries, little-endian. Offsets are
// from 0. The boot record that leads here is in volume_descriptor.h.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "base/bytes.h"

namespace lacuna::iso9660 {

inline constexpr std::size_t kCatalogEntryBytes = 32;

/// 2.1, figure 2.
struct ValidationEntry {
  std::uint8_t platform = 0;  ///< 00 x86, 01 PowerPC, 02 Mac, EF EFI.
  Bytes id;                   ///< 24 bytes: manufacturer.
  bool checksum_ok = false;   ///< The sixteen words add up to 0.
  bool key_ok = false;        ///< 55 AA at 30.
};
/// Nothing: too short, or the header id is not 01.
std::optional<ValidationEntry> decode_validation_entry(Bytes entry) noexcept;

/// Low nibble of the media byte.
enum class BootMedia : std::uint8_t {
  kNoEmulation = 0,
  kFloppy1200 = 1,
  kFloppy1440 = 2,
  kFloppy2880 = 3,
  kHardDisk = 4
};

/// 2.2 (initial/default entry) and 2.4 (section entry).
struct BootEntry {
  bool bootable = false;           ///< 88; else 00.
  std::uint8_t media = 0;          ///< BootMedia in the low nibble; bit 5 extension follows, 6 ATAPI, 7 SCSI driver.
  std::uint16_t load_segment = 0;  ///< 0: 07C0.
  std::uint8_t partition_type = 0;
  std::uint16_t load_sectors = 0;  ///< 512-byte sectors to load: NOT the size of the image.
  std::uint32_t lba = 0;           ///< 2048-byte sector of the image.
  std::uint8_t criteria_type = 0;
  Bytes criteria;  ///< 19 bytes.

  std::uint8_t media_type() const noexcept { return media & 0x0f; }
  bool extension_follows() const noexcept { return (media & 0x20) != 0; }
};
/// Nothing: too short, or the indicator is neither 88 nor 00.
std::optional<BootEntry> decode_boot_entry(Bytes entry) noexcept;

/// 2.3.
struct SectionHeader {
  bool last = false;  ///< 91; 90: more follow.
  std::uint8_t platform = 0;
  std::uint16_t entries = 0;
  Bytes id;  ///< 28 bytes.
};
std::optional<SectionHeader> decode_section_header(Bytes entry) noexcept;

/// 2.5.
struct SectionExtension {
  bool more = false;
  Bytes criteria;  ///< 30 bytes.
};
std::optional<SectionExtension> decode_section_extension(Bytes entry) noexcept;

/// What a catalog has against the document; a bit set.
namespace catalog_problem {
inline constexpr std::uint32_t kChecksum = 1;
inline constexpr std::uint32_t kKey = 2;
inline constexpr std::uint32_t kSectionShort = 4;     ///< A section with fewer entries than its header says.
inline constexpr std::uint32_t kNoSectionHeader = 8;  ///< Boot entries behind the default one without a header; taken.
inline constexpr std::uint32_t kTruncated = 16;       ///< More entries were announced than the bytes given hold.
inline constexpr std::uint32_t kNoDefault = 32;       ///< Entry 1 is missing, or its indicator is neither 88 nor 00.
}  // namespace catalog_problem

struct CatalogEntry {
  BootEntry entry;
  std::uint8_t platform = 0;
  Bytes section_id;  ///< Empty for the default entry.
};
struct BootCatalog {
  ValidationEntry validation;
  std::vector<CatalogEntry> entries;  ///< The default one first. Unused ones (no LBA) are left out.
  std::uint32_t problems = 0;         ///< catalog_problem
};
/// Reads as many entries as the bytes hold. Nothing when there is no validation entry (01 at 0 with a right checksum or
/// right key bytes).
std::optional<BootCatalog> decode_boot_catalog(Bytes catalog);

/// Bytes of a boot image, which no field records: floppies by their media type, hard disks by the partition table in
/// the image's first sector (512 bytes are enough). Nothing: that is not known (no emulation, or no partition table);
/// the image ends at the next used extent, or a file lies there.
std::optional<std::uint64_t> boot_image_bytes(const BootEntry& e, Bytes image_first_sector);

/// Boot information table that some writers put at byte 8 of an image (common practice, no standard).
struct BootInfoTable {
  std::uint32_t descriptor_lba = 0;  ///< Of the primary volume descriptor.
  std::uint32_t image_lba = 0;
  std::uint32_t image_bytes = 0;
  std::uint32_t checksum = 0;  ///< Sum of the words from byte 64 on.
};
/// Nothing: too short, or the table does not name `image_lba` itself and a plausible descriptor and size.
std::optional<BootInfoTable> decode_boot_info_table(Bytes image_first_sector, std::uint32_t image_lba) noexcept;

}  // namespace lacuna::iso9660
