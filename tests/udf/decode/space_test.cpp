// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/space.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::for_each_length;
using test::from_hex;

TEST(UnallocatedSpaceEntry, Decodes) {
  const Buffer b = test::sample_unallocated_space_entry();
  const auto e = decode_unallocated_space_entry(b);
  ASSERT_TRUE(e);
  EXPECT_TRUE(check_tag(b, 10, e->bytes).fine());
  EXPECT_EQ(e->icb.form(), AllocationForm::kShort);
  EXPECT_EQ(e->allocation.size(), 16u);
  EXPECT_EQ(e->bytes, 56u);
  EXPECT_FALSE(e->cut);
  for_each_length(b, [](Bytes part) {
    const auto cut = decode_unallocated_space_entry(part);
    ASSERT_EQ(cut.has_value(), part.size() >= 40);
    if (cut) {
      EXPECT_EQ(cut->cut, part.size() < 56);
      EXPECT_EQ(cut->allocation.size(), std::min<std::size_t>(part.size() - 40, 16));
    }
  });
  EXPECT_FALSE(decode_unallocated_space_entry(test::sample_space_bitmap()));
}

TEST(SpaceBitmap, Decodes) {
  const Buffer b = test::sample_space_bitmap();
  const auto s = decode_space_bitmap(b);
  ASSERT_TRUE(s);
  EXPECT_TRUE(check_tag(b, 11, kBitmapFixedBytes).fine());
  EXPECT_EQ(s->bits, 100u);
  EXPECT_EQ(s->bitmap_bytes, 13u);
  EXPECT_EQ(s->bitmap.size(), 13u);
  EXPECT_EQ(s->free_blocks(), 25u);  // two bits in each of 12 bytes, and bit 96
  EXPECT_FALSE(s->cut);
  EXPECT_FALSE(s->too_few_bytes);
}

TEST(SpaceBitmap, CutAndContradicting) {
  Buffer b = test::sample_space_bitmap();
  const auto cut = decode_space_bitmap(Bytes(b).first(30));
  EXPECT_TRUE(cut->cut);
  EXPECT_EQ(cut->bitmap.size(), 6u);
  EXPECT_EQ(cut->free_blocks(), 12u);
  EXPECT_FALSE(decode_space_bitmap(Bytes(b).first(23)));
  b[16] = 105;
  EXPECT_TRUE(decode_space_bitmap(b)->too_few_bytes);
  b[16] = 104;
  EXPECT_FALSE(decode_space_bitmap(b)->too_few_bytes);
  std::fill_n(b.begin() + 16, 8, std::uint8_t{0xff});
  EXPECT_EQ(decode_space_bitmap(b)->bitmap.size(), 2024u);
  EXPECT_EQ(decode_space_bitmap(b)->free_blocks(), 26u);
  EXPECT_FALSE(decode_space_bitmap(test::sample_file_entry()));
}

// 4/14.12.4: bit 0 is the lowest of the first byte.
TEST(SpaceBitmap, CountsBits) {
  const Buffer b = from_hex("01 80 FF 00 F0 FF 0F 00 FF 03 00 00 FF FF 00 FF 01");
  std::uint64_t expected = 0;
  for (std::size_t bits = 0; bits <= b.size() * 8 + 20; ++bits) {
    EXPECT_EQ(count_set_bits(b, bits), expected) << bits;
    if (bits < b.size() * 8) expected += static_cast<unsigned>(b[bits / 8] >> bits % 8 & 1);
  }
  EXPECT_EQ(count_set_bits(b, ~std::uint64_t{0}), expected);
  EXPECT_EQ(count_set_bits({}, 100), 0u);
}

}  // namespace
}  // namespace lacuna::udf
