// SPDX-License-Identifier: GPL-3.0-or-later
// Sparing tables and virtual allocation tables.
#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/cs0.h"
#include "udf/decode/samples.h"
#include "udf/decode/sparing_table.h"
#include "udf/decode/virtual_table.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::for_each_length;

TEST(SparingTable, Decodes) {
  const Buffer b = test::sample_sparing_table();
  const auto t = decode_sparing_table(b);
  ASSERT_TRUE(t);
  EXPECT_TRUE(check_tag(b, 80, t->bytes).fine());
  EXPECT_EQ(t->sequence, 4u);
  EXPECT_EQ(t->count, 3);
  ASSERT_EQ(t->size(), 3u);
  EXPECT_TRUE((*t)[0].is_moved());
  EXPECT_EQ((*t)[0].original, 64u);
  EXPECT_EQ((*t)[0].mapped_sector, 700u);
  EXPECT_EQ((*t)[1].original, SparingEntry::kDefective);
  EXPECT_FALSE((*t)[1].is_moved());
  EXPECT_EQ((*t)[2].original, SparingEntry::kAvailable);
  EXPECT_FALSE((*t)[2].is_moved());
  EXPECT_FALSE(t->cut);
  EXPECT_EQ(t->bytes, 80u);
}

TEST(SparingTable, TruncatedAndOthers) {
  const Buffer good = test::sample_sparing_table();
  for_each_length(Buffer(good.begin(), good.begin() + 90), [](Bytes b) {
    const auto t = decode_sparing_table(b);
    ASSERT_EQ(t.has_value(), b.size() >= 56);
    if (!t) return;
    EXPECT_EQ(t->size(), std::min<std::size_t>((b.size() - 56) / 8, 3));
    EXPECT_EQ(t->cut, b.size() < 80);
  });
  Buffer b = good;
  b[17] = '+';
  EXPECT_FALSE(decode_sparing_table(b));
  b = good;
  b[0] = 1;
  EXPECT_FALSE(decode_sparing_table(b));
  b = good;
  b[48] = b[49] = 0xff;
  EXPECT_EQ(decode_sparing_table(b)->size(), (2048u - 56) / 8);
  EXPECT_EQ(decode_sparing_table(b)->bytes, 56u + 65535 * 8);
}

TEST(VirtualTable, Of150) {
  const Buffer b = test::sample_vat_150();
  const auto t = decode_virtual_table(b, 0);
  ASSERT_TRUE(t);
  EXPECT_TRUE(t->is_150);
  ASSERT_EQ(t->size(), 5u);
  EXPECT_EQ((*t)[0], 10u);
  EXPECT_EQ((*t)[2], VirtualTable::kUnused);
  EXPECT_EQ((*t)[4], 14u);
  EXPECT_EQ(t->previous, 77u);
  EXPECT_FALSE(t->files);
  EXPECT_TRUE(t->volume_id.empty());
  EXPECT_EQ(t->problems, 0u);
}

TEST(VirtualTable, Of200) {
  const Buffer b = test::sample_vat_200();
  const auto t = decode_virtual_table(b, 248);
  ASSERT_TRUE(t);
  EXPECT_FALSE(t->is_150);
  ASSERT_EQ(t->size(), 3u);
  EXPECT_EQ((*t)[0], 20u);
  EXPECT_EQ((*t)[2], 22u);
  EXPECT_EQ(t->previous, 77u);
  EXPECT_EQ(t->files, 20u);
  EXPECT_FALSE(t->directories);  // FFFFFFFF
  EXPECT_EQ(t->min_read, 0x0150);
  EXPECT_EQ(t->min_write, 0x0200);
  EXPECT_EQ(t->max_write, 0x0201);
  EXPECT_EQ(dstring_display(t->volume_id), "Winter");
  EXPECT_EQ(t->volume_id.size(), 128u);
  EXPECT_EQ(t->implementation_use.size(), 8u);
  EXPECT_EQ(t->problems, 0u);
}

TEST(VirtualTable, NoTableBefore) {
  Buffer b = test::sample_vat_150();
  std::fill_n(b.end() - 4, 4, std::uint8_t{0xff});
  EXPECT_FALSE(decode_virtual_table(b, 0)->previous);
  b = test::sample_vat_200();
  std::fill_n(b.begin() + 132, 4, std::uint8_t{0xff});
  EXPECT_FALSE(decode_virtual_table(b, 248)->previous);
}

TEST(VirtualTable, TheTypeDecides) {
  EXPECT_FALSE(decode_virtual_table(test::sample_vat_150(), 248));
  EXPECT_FALSE(decode_virtual_table(test::sample_vat_200(), 0));
  EXPECT_FALSE(decode_virtual_table(test::sample_vat_200(), 5));
}

TEST(VirtualTable, EmptyOnes) {
  const Buffer b = test::sample_vat_150();
  EXPECT_EQ(decode_virtual_table(Bytes(b).last(36), 0)->size(), 0u);
  EXPECT_FALSE(decode_virtual_table(Bytes(b).last(35), 0));
  const Buffer c = test::sample_vat_200();
  EXPECT_EQ(decode_virtual_table(Bytes(c).first(160), 248)->size(), 0u);
}

TEST(VirtualTable, Truncated) {
  for_each_length(test::sample_vat_150(), [](Bytes b) {  // the identifier is at the end
    EXPECT_EQ(decode_virtual_table(b, 0).has_value(), b.size() == 56);
  });
  for_each_length(test::sample_vat_200(), [](Bytes b) {
    const auto t = decode_virtual_table(b, 248);
    ASSERT_EQ(t.has_value(), b.size() >= 160);
    if (!t) return;
    EXPECT_EQ(t->size(), (b.size() - 160) / 4);
    EXPECT_EQ(t->problems, b.size() % 4 != 0 ? vat_problem::kLength : 0u);
  });
}

TEST(VirtualTable, Headers) {
  Buffer b = test::sample_vat_200();
  b[2] = 4;
  EXPECT_EQ(decode_virtual_table(b, 248)->problems, vat_problem::kHeader);
  b[0] = 151;
  EXPECT_FALSE(decode_virtual_table(b, 248));
  b[0] = b[1] = 0xff;
  EXPECT_FALSE(decode_virtual_table(b, 248));
  b = test::sample_vat_200();
  b[4 + 127] = 128;
  EXPECT_EQ(decode_virtual_table(b, 248)->problems, vat_problem::kText);
}

}  // namespace
}  // namespace lacuna::udf
