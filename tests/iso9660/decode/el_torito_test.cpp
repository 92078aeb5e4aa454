// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/el_torito.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::iso9660 {
namespace {

using test::Buffer;
using test::for_each_length;
using test::from_hex;
using test::operator+;
using test::put;

/// Checksum words of an entry without an identifier: 55AA for platform 0, 66AA for EF (computed by hand: the words
/// 0001 or EF01, AA55 and the checksum add up to 10000 or 20000).
Buffer validation(bool efi = false) {
  Buffer b(32);
  b[0] = 1;
  b[1] = efi ? 0xef : 0;
  put(b, 28, from_hex(efi ? "aa 66" : "aa 55"));
  put(b, 30, from_hex("55 aa"));
  return b;
}

Buffer boot(std::uint8_t media, std::uint32_t lba, std::uint8_t indicator = 0x88) {
  Buffer b(32);
  put(b, 0, Buffer{indicator, media, 0xc0, 0x07, 0x0c, 0, 4, 0});
  for (std::size_t i = 0; i < 4; ++i) b[8 + i] = static_cast<std::uint8_t>(lba >> (8 * i));
  b[12] = 1;
  b[13] = 0x77;
  return b;
}

Buffer section(bool last, std::uint8_t platform, std::uint8_t entries) {
  Buffer b(32);
  put(b, 0, Buffer{static_cast<std::uint8_t>(last ? 0x91 : 0x90), platform, entries, 0});
  put(b, 4, "SECTION");
  return b;
}

Buffer extension(bool more) {
  Buffer b(32);
  b[0] = 0x44;
  b[1] = more ? 0x20 : 0;
  return b;
}

TEST(ElTorito, ValidationEntry) {
  for (const bool efi : {false, true}) {
    const Buffer b = validation(efi);
    const auto v = decode_validation_entry(b);
    ASSERT_TRUE(v);
    EXPECT_EQ(v->platform, efi ? 0xef : 0);
    EXPECT_TRUE(v->checksum_ok);
    EXPECT_TRUE(v->key_ok);
    EXPECT_EQ(v->id.size(), 24u);
    for_each_length(b, [](Bytes cut) { EXPECT_EQ(decode_validation_entry(cut).has_value(), cut.size() == 32); });
  }
  Buffer b = validation();
  b[5] = 1;
  EXPECT_FALSE(decode_validation_entry(b)->checksum_ok);
  b = validation();
  b[31] = 0;
  EXPECT_FALSE(decode_validation_entry(b)->key_ok);
  b[0] = 2;
  EXPECT_FALSE(decode_validation_entry(b));
}

TEST(ElTorito, BootEntry) {
  const Buffer b = boot(0x64, 0x12345678);
  const auto e = decode_boot_entry(b);
  ASSERT_TRUE(e);
  EXPECT_TRUE(e->bootable);
  EXPECT_EQ(e->media_type(), 4);
  EXPECT_TRUE(e->extension_follows());
  EXPECT_EQ(e->load_segment, 0x07c0);
  EXPECT_EQ(e->partition_type, 0x0c);
  EXPECT_EQ(e->load_sectors, 4);
  EXPECT_EQ(e->lba, 0x12345678u);
  EXPECT_EQ(e->criteria_type, 1);
  EXPECT_EQ(e->criteria.size(), 19u);
  EXPECT_EQ(e->criteria[0], 0x77);
  for_each_length(b, [](Bytes cut) { EXPECT_EQ(decode_boot_entry(cut).has_value(), cut.size() == 32); });
  EXPECT_FALSE(decode_boot_entry(boot(0, 1, 0))->bootable);
  EXPECT_FALSE(decode_boot_entry(boot(0, 1, 0x90)));
}

TEST(ElTorito, SectionHeaderAndExtension) {
  const Buffer b = section(true, 0xef, 3);
  const auto h = decode_section_header(b);
  ASSERT_TRUE(h);
  EXPECT_TRUE(h->last);
  EXPECT_EQ(h->platform, 0xef);
  EXPECT_EQ(h->entries, 3);
  EXPECT_EQ(as_text(h->id).substr(0, 7), "SECTION");
  EXPECT_FALSE(decode_section_header(section(false, 0, 0))->last);
  for_each_length(b, [](Bytes cut) { EXPECT_EQ(decode_section_header(cut).has_value(), cut.size() == 32); });
  EXPECT_TRUE(decode_section_extension(extension(true))->more);
  EXPECT_FALSE(decode_section_extension(extension(false))->more);
  for_each_length(extension(true),
                  [](Bytes cut) { EXPECT_EQ(decode_section_extension(cut).has_value(), cut.size() == 32); });
}

TEST(BootCatalog, DefaultOnly) {
  Buffer b = validation() + boot(0, 100);
  b.resize(2048);
  const auto c = decode_boot_catalog(b);
  ASSERT_TRUE(c);
  ASSERT_EQ(c->entries.size(), 1u);
  EXPECT_EQ(c->entries[0].entry.lba, 100u);
  EXPECT_EQ(c->entries[0].platform, 0);
  EXPECT_EQ(c->problems, 0u);
}

TEST(BootCatalog, Sections) {
  Buffer b = validation() + boot(0, 100) + section(false, 0, 2) + boot(0x20, 200) + extension(true) + extension(false) +
             boot(0, 201) + section(true, 0xef, 1) + boot(0, 300) + boot(0, 999);
  b.resize(2048);
  const auto c = decode_boot_catalog(b);
  ASSERT_TRUE(c);
  std::vector<std::uint32_t> lbas;
  for (const CatalogEntry& e : c->entries) lbas.push_back(e.entry.lba);
  EXPECT_EQ(lbas, (std::vector<std::uint32_t>{100, 200, 201, 300}));  // what is behind the last section is not read
  EXPECT_EQ(c->entries[3].platform, 0xef);
  EXPECT_EQ(as_text(c->entries[3].section_id).substr(0, 7), "SECTION");
  EXPECT_EQ(c->problems, 0u);
}

TEST(BootCatalog, Problems) {
  Buffer b = validation() + boot(0, 100) + section(false, 0, 9) + boot(0, 200) + section(true, 0, 1) + boot(0, 300);
  b.resize(2048);
  EXPECT_EQ(decode_boot_catalog(b)->problems, catalog_problem::kSectionShort);
  EXPECT_EQ(decode_boot_catalog(b)->entries.size(), 3u);

  b = validation() + boot(0, 100) + boot(0, 200) + Buffer(64);
  EXPECT_EQ(decode_boot_catalog(b)->problems, catalog_problem::kNoSectionHeader);
  EXPECT_EQ(decode_boot_catalog(b)->entries.size(), 2u);

  b = validation() + boot(0, 100) + section(true, 0, 3) + boot(0, 200);
  EXPECT_EQ(decode_boot_catalog(b)->problems, catalog_problem::kTruncated);
  EXPECT_EQ(decode_boot_catalog(b)->entries.size(), 2u);

  b = validation() + boot(0, 100, 7) + Buffer(64);
  EXPECT_EQ(decode_boot_catalog(b)->problems, catalog_problem::kNoDefault);
  EXPECT_EQ(decode_boot_catalog(validation())->problems, catalog_problem::kNoDefault);

  b = validation() + boot(0, 100) + Buffer(64);
  b[5] = 1;
  EXPECT_EQ(decode_boot_catalog(b)->problems, catalog_problem::kChecksum);
  b[30] = 0;
  EXPECT_FALSE(decode_boot_catalog(b));
}

TEST(BootCatalog, Truncated) {
  const Buffer b = validation() + boot(0, 100) + section(true, 0, 2) + boot(0, 200) + boot(0, 201);
  for_each_length(b, [](Bytes cut) {
    const auto c = decode_boot_catalog(cut);
    ASSERT_EQ(c.has_value(), cut.size() >= 32);
    if (!c) return;
    const std::size_t whole = cut.size() / 32;
    EXPECT_EQ(c->entries.size(), whole < 2 ? 0 : (whole < 4 ? 1 : whole - 2));
    EXPECT_EQ(c->problems,
              whole < 2 ? catalog_problem::kNoDefault : (whole == 3 || whole == 4 ? catalog_problem::kTruncated : 0));
  });
}

TEST(BootCatalog, MaximalCountIsBoundedByTheBytes) {
  Buffer b = validation() + boot(0, 1);
  Buffer header = section(true, 0, 0);
  header[2] = header[3] = 0xff;
  b = b + header;
  while (b.size() < 65536) b = b + boot(0, 7);
  EXPECT_EQ(decode_boot_catalog(b)->entries.size(), 65536u / 32 - 2);
}

// El Torito 2.2: floppy formats; sizes are those of the diskettes (common practice).
TEST(BootImageBytes, ByMediaType) {
  const auto bytes = [](std::uint8_t media, const Buffer& first = {}) {
    return boot_image_bytes(*decode_boot_entry(boot(media, 1)), first);
  };
  EXPECT_EQ(bytes(1), 1228800u);
  EXPECT_EQ(bytes(2), 1474560u);
  EXPECT_EQ(bytes(3), 2949120u);
  EXPECT_EQ(bytes(0x62), 1474560u);
  EXPECT_FALSE(bytes(0));
  EXPECT_FALSE(bytes(5));
  EXPECT_FALSE(bytes(4));
  EXPECT_FALSE(bytes(4, Buffer(512)));

  Buffer disk(512);
  put(disk, 510, from_hex("55 aa"));
  EXPECT_FALSE(bytes(4, disk));
  put(disk, 446, from_hex("80 01 01 00 06 00 00 00 3f 00 00 00 41 00 00 00"));
  EXPECT_EQ(bytes(4, disk), 128u * 512);
  put(disk, 462, from_hex("00 01 01 00 06 00 00 00 ff ff ff ff ff ff ff ff"));
  EXPECT_EQ(bytes(4, disk), 0x1fffffffeu * 512);
}

// Common practice of boot loaders, no standard.
TEST(BootInfoTable, KnownGood) {
  Buffer b(64);
  put(b, 8, from_hex("10 00 00 00 64 00 00 00 00 08 00 00 78 56 34 12"));
  const auto t = decode_boot_info_table(b, 100);
  ASSERT_TRUE(t);
  EXPECT_EQ(t->descriptor_lba, 16u);
  EXPECT_EQ(t->image_bytes, 2048u);
  EXPECT_EQ(t->checksum, 0x12345678u);
  EXPECT_FALSE(decode_boot_info_table(b, 101));
  for_each_length(b, [](Bytes cut) { EXPECT_EQ(decode_boot_info_table(cut, 100).has_value(), cut.size() == 64); });
}

}  // namespace
}  // namespace lacuna::iso9660
