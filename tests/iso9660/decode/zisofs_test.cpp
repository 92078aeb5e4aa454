// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/zisofs.h"

#include <gtest/gtest.h>

#include <limits>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::iso9660 {
namespace {

using test::Buffer;
using test::for_each_length;
using test::from_hex;
using test::operator+;

std::optional<ZisofsEntry> zf(const Buffer& bytes) { return decode_zf(SuspReader(bytes).next().value()); }

// Source: libisofs doc/zisofs_format.txt, the example of its ZF entry.
TEST(Zisofs, EntryOfTheDocument) {
  const auto e = zf(from_hex("5A 46 10 01 70 7A 04 0F 87 D6 12 00 00 12 D6 87"));
  ASSERT_TRUE(e);
  EXPECT_EQ(e->zisofs.version, 1);
  EXPECT_EQ(e->zisofs.algorithm, zisofs_algorithm::kZlib);
  EXPECT_EQ(e->zisofs.header_words, 4);
  EXPECT_EQ(e->zisofs.block_size_log2, 15);
  EXPECT_EQ(e->zisofs.plain_bytes, 1234567u);
  EXPECT_TRUE(e->size_agrees);
  EXPECT_EQ(zisofs_block_count(e->zisofs), 38u);  // 1234567 / 32768, rounded up
  EXPECT_EQ(zisofs_table_end(e->zisofs), 16u + 39 * 4);
}

TEST(Zisofs, EntryHalvesDisagree) {
  EXPECT_FALSE(zf(from_hex("5A 46 10 01 70 7A 04 0F 87 D6 12 00 00 12 D6 88"))->size_agrees);
  EXPECT_EQ(zf(from_hex("5A 46 10 01 70 7A 04 0F 00 00 00 00 00 12 D6 87"))->zisofs.plain_bytes, 1234567u);
}

// zisofs2_format.txt: algorithm letters, and a little-endian size of eight bytes.
TEST(Zisofs, EntryOfVersion2) {
  const struct {
    const char* letters;
    int algorithm;
  } kCases[] = {{"50 5a", 1}, {"58 5a", 2}, {"78 7a", 2}, {"4c 34", 3},
                {"5a 44", 4}, {"7a 64", 4}, {"42 32", 5}, {"3f 3f", 0}};
  for (const auto& c : kCases) {
    const auto e = zf(from_hex("5A 46 10 02") + from_hex(c.letters) + from_hex("06 11 01 00 00 00 02 00 00 00"));
    ASSERT_TRUE(e) << c.letters;
    EXPECT_EQ(e->zisofs.algorithm, c.algorithm) << c.letters;
    EXPECT_EQ(e->zisofs.version, 2);
    EXPECT_EQ(e->zisofs.plain_bytes, 0x200000001u);
    EXPECT_EQ(e->zisofs.block_size_log2, 17);
  }
  EXPECT_TRUE(zf(from_hex("5A 32 10 02 50 5a 06 11 01 00 00 00 02 00 00 00")));  // signature Z2
}

TEST(Zisofs, EntryThatCannotBe) {
  EXPECT_FALSE(zf(from_hex("5A 46 10 03 70 7A 04 0F 87 D6 12 00 00 12 D6 87")));  // version 3
  EXPECT_FALSE(zf(from_hex("5A 46 10 01 70 7A 03 0F 87 D6 12 00 00 12 D6 87")));  // header of 12 bytes
  EXPECT_FALSE(zf(from_hex("5A 46 10 01 70 7A 04 0E 87 D6 12 00 00 12 D6 87")));
  EXPECT_FALSE(zf(from_hex("5A 46 10 01 70 7A 04 15 87 D6 12 00 00 12 D6 87")));
  EXPECT_FALSE(zf(from_hex("5A 46 0F 01 70 7A 04 0F 87 D6 12 00 00 12 D6")));
  EXPECT_FALSE(zf(from_hex("5A 47 10 01 70 7A 04 0F 87 D6 12 00 00 12 D6 87")));
  EXPECT_EQ(zf(from_hex("5A 46 10 01 71 7A 04 0F 87 D6 12 00 00 12 D6 87"))->zisofs.algorithm, 0);
}

TEST(Zisofs, Header) {
  const Buffer b = from_hex("37 E4 53 96 C9 DB D6 07 87 D6 12 00 04 0F 00 00");
  const auto z = decode_zisofs_header(b);
  ASSERT_TRUE(z);
  EXPECT_EQ(z->version, 1);
  EXPECT_EQ(z->algorithm, 1);
  EXPECT_EQ(z->plain_bytes, 1234567u);
  EXPECT_EQ(z->block_size_log2, 15);
  for_each_length(b, [](Bytes cut) { EXPECT_EQ(decode_zisofs_header(cut).has_value(), cut.size() == 16); });
  EXPECT_FALSE(decode_zisofs_header(from_hex("37 E4 53 96 C9 DB D6 08 87 D6 12 00 04 0F 00 00")));
}

TEST(Zisofs, HeaderOfVersion2) {
  const Buffer b = from_hex("EF 22 55 A1 BC 1B 95 A0 00 06 04 12 01 00 00 00 02 00 00 00 00 00 00 00");
  const auto z = decode_zisofs_header(b);
  ASSERT_TRUE(z);
  EXPECT_EQ(z->version, 2);
  EXPECT_EQ(z->algorithm, zisofs_algorithm::kZstd);
  EXPECT_EQ(z->plain_bytes, 0x200000001u);
  EXPECT_EQ(z->block_size_log2, 18);
  EXPECT_EQ(zisofs_pointers_at(*z), 24u);
  EXPECT_EQ(zisofs_pointer_bytes(*z), 8u);
  for_each_length(b, [](Bytes cut) { EXPECT_EQ(decode_zisofs_header(cut).has_value(), cut.size() == 24); });
}

Zisofs three_blocks() { return {.plain_bytes = 3 * 32768 - 1}; }

TEST(Zisofs, PointersValid) {
  const Zisofs z = three_blocks();
  ASSERT_EQ(zisofs_block_count(z), 3u);
  ASSERT_EQ(zisofs_table_end(z), 32u);
  const auto valid = [&](const char* hex, std::uint64_t stored) { return pointers_valid(z, from_hex(hex), stored); };
  EXPECT_TRUE(valid("20 00 00 00 30 00 00 00 30 00 00 00 40 00 00 00", 64));
  EXPECT_FALSE(valid("20 00 00 00 30 00 00 00 30 00 00 00 41 00 00 00", 64));  // beyond the file
  EXPECT_FALSE(valid("20 00 00 00 30 00 00 00 2f 00 00 00 40 00 00 00", 64));  // decreases
  EXPECT_FALSE(valid("1f 00 00 00 30 00 00 00 30 00 00 00 40 00 00 00", 64));  // inside the table
  EXPECT_TRUE(valid("30 00 00 00 40 00 00 00", 64));                           // a part
  EXPECT_TRUE(valid("", 64));
  EXPECT_FALSE(valid("30 00 00 00 40 00 00", 64));
  EXPECT_FALSE(valid("ff ff ff ff", 64));
}

TEST(Zisofs, ExtremeSizesDoNotOverflow) {
  Zisofs z{.version = 2, .header_words = 6, .block_size_log2 = 15, .plain_bytes = 0};
  EXPECT_EQ(zisofs_block_count(z), 0u);
  EXPECT_EQ(zisofs_table_end(z), 24u + 8);
  z.plain_bytes = std::numeric_limits<std::uint64_t>::max();
  EXPECT_EQ(zisofs_block_count(z), std::uint64_t{1} << 49);
  EXPECT_EQ(zisofs_table_end(z), 24 + ((std::uint64_t{1} << 49) + 1) * 8);
  z.block_size_log2 = 0;  // no decoder gives this
  EXPECT_GT(zisofs_table_end(z), std::uint64_t{1} << 60);
  EXPECT_FALSE(pointers_valid(z, Buffer(16), 1000));
}

}  // namespace
}  // namespace lacuna::iso9660
