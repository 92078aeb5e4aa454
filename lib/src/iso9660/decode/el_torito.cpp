// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/el_torito.h"

#include <algorithm>

#include "iso9660/decode/hybrid.h"

namespace lacuna::iso9660 {
namespace {

constexpr std::uint8_t kValidationId = 0x01;
constexpr std::uint8_t kBootable = 0x88;
constexpr std::uint8_t kMoreSections = 0x90;
constexpr std::uint8_t kLastSection = 0x91;
constexpr std::uint8_t kExtensionId = 0x44;
constexpr std::size_t kFirstSection = 2;  // entry 0 validates, entry 1 is the default

Bytes entry_at(Bytes catalog, std::size_t index) {
  const std::size_t at = index * kCatalogEntryBytes;
  return at < catalog.size() ? catalog.subspan(at, std::min(kCatalogEntryBytes, catalog.size() - at)) : Bytes{};
}

}  // namespace

// El Torito 2.1
std::optional<ValidationEntry> decode_validation_entry(Bytes entry) noexcept {
  if (entry.size() < kCatalogEntryBytes || entry[0] != kValidationId) return {};
  ValidationEntry v;
  v.platform = entry[1];
  v.id = entry.subspan(4, 24);
  v.key_ok = entry[30] == 0x55 && entry[31] == 0xaa;
  unsigned sum = 0;
  for (std::size_t at = 0; at < kCatalogEntryBytes; at += 2) sum += le16(entry, at);
  v.checksum_ok = (sum & 0xffff) == 0;
  return v;
}

// El Torito 2.2, 2.4
std::optional<BootEntry> decode_boot_entry(Bytes entry) noexcept {
  if (entry.size() < kCatalogEntryBytes || (entry[0] != kBootable && entry[0] != 0)) return {};
  BootEntry b;
  b.bootable = entry[0] == kBootable;
  b.media = entry[1];
  b.load_segment = le16(entry, 2);
  b.partition_type = entry[4];
  b.load_sectors = le16(entry, 6);
  b.lba = le32(entry, 8);
  b.criteria_type = entry[12];
  b.criteria = entry.subspan(13, 19);
  return b;
}

// El Torito 2.3
std::optional<SectionHeader> decode_section_header(Bytes entry) noexcept {
  if (entry.size() < kCatalogEntryBytes || (entry[0] != kMoreSections && entry[0] != kLastSection)) return {};
  return SectionHeader{entry[0] == kLastSection, entry[1], le16(entry, 2), entry.subspan(4, 28)};
}

// El Torito 2.5
std::optional<SectionExtension> decode_section_extension(Bytes entry) noexcept {
  if (entry.size() < kCatalogEntryBytes || entry[0] != kExtensionId) return {};
  return SectionExtension{(entry[1] & 0x20) != 0, entry.subspan(2, 30)};
}

std::optional<BootCatalog> decode_boot_catalog(Bytes catalog) {
  namespace problem = catalog_problem;
  const auto validation = decode_validation_entry(catalog);
  if (!validation || (!validation->checksum_ok && !validation->key_ok)) return {};
  BootCatalog result;
  result.validation = *validation;
  if (!validation->checksum_ok) result.problems |= problem::kChecksum;
  if (!validation->key_ok) result.problems |= problem::kKey;

  const auto take = [&](const BootEntry& e, std::uint8_t platform, Bytes section_id) {
    if (e.lba != 0) result.entries.push_back({e, platform, section_id});
  };
  if (const auto first = decode_boot_entry(entry_at(catalog, 1))) {
    take(*first, validation->platform, {});
  } else {
    result.problems |= problem::kNoDefault;
  }

  // `announced`: entries that the current section still owes.
  std::optional<SectionHeader> section;
  unsigned announced = 0;
  bool last = false;
  const std::size_t count = catalog.size() / kCatalogEntryBytes;
  std::size_t at = kFirstSection;
  for (; at < count && !(last && announced == 0); ++at) {
    const Bytes bytes = entry_at(catalog, at);
    if (const auto header = decode_section_header(bytes)) {
      if (announced != 0) result.problems |= problem::kSectionShort;
      section = header;
      announced = header->entries;
      last = header->last;
      continue;
    }
    if (decode_section_extension(bytes)) continue;
    const auto entry = decode_boot_entry(bytes);
    const bool unused = entry && !entry->bootable && entry->lba == 0;
    if (!entry || (announced == 0 && unused)) break;
    if (announced != 0) {
      --announced;
      take(*entry, section->platform, section->id);
    } else {
      result.problems |= problem::kNoSectionHeader;
      take(*entry, section ? section->platform : validation->platform, {});
    }
  }
  if (announced != 0) result.problems |= at == count ? problem::kTruncated : problem::kSectionShort;
  return result;
}

std::optional<std::uint64_t> boot_image_bytes(const BootEntry& e, Bytes image_first_sector) {
  switch (static_cast<BootMedia>(e.media_type())) {
    case BootMedia::kFloppy1200:
      return 80 * 2 * 15 * 512;
    case BootMedia::kFloppy1440:
      return 80 * 2 * 18 * 512;
    case BootMedia::kFloppy2880:
      return 80 * 2 * 36 * 512;
    case BootMedia::kHardDisk: {
      const auto mbr = decode_mbr(image_first_sector);
      if (!mbr) return {};
      std::uint64_t end = 0;
      for (const MbrPartition& p : mbr->partitions) {
        if (p.type != 0) end = std::max(end, std::uint64_t{p.first_sector} + p.sector_count);
      }
      return end != 0 ? std::optional(end * 512) : std::nullopt;
    }
    default:
      return {};
  }
}

std::optional<BootInfoTable> decode_boot_info_table(Bytes image_first_sector, std::uint32_t image_lba) noexcept {
  if (image_first_sector.size() < 64) return {};
  const BootInfoTable t{le32(image_first_sector, 8), le32(image_first_sector, 12), le32(image_first_sector, 16),
                        le32(image_first_sector, 20)};
  if (t.image_lba != image_lba || t.descriptor_lba < 16 || t.image_bytes < 64) return {};
  return t;
}

}  // namespace lacuna::iso9660
