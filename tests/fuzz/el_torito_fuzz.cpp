// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a boot catalog, and as the first sector of a boot image.
#include "fuzz/promise.h"
#include "iso9660/decode/el_torito.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace lacuna;
  using namespace lacuna::iso9660;
  using test::require;
  const Bytes input(data, size);
  decode_section_header(input);
  decode_section_extension(input);
  decode_boot_info_table(input, 16);
  if (const auto entry = decode_boot_entry(input)) boot_image_bytes(*entry, input);
  const auto catalog = decode_boot_catalog(input);
  if (!catalog) return 0;
  require(catalog->entries.size() < size / kCatalogEntryBytes);
  test::require_inside(input, {catalog->validation.id});
  for (const CatalogEntry& e : catalog->entries) {
    require(e.entry.lba != 0);
    test::require_inside(input, {e.section_id, e.entry.criteria});
    const auto bytes = boot_image_bytes(e.entry, input);
    require(!bytes || (*bytes != 0 && *bytes <= std::uint64_t{1} << 42));
  }
  return 0;
}
