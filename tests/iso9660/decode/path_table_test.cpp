// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/path_table.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::iso9660 {
namespace {

using test::Buffer;
using test::for_each_length;
using test::from_hex;
using test::operator+;
using PathTableStop = PathTableReader::Stop;

std::vector<PathTableRecord> read(Bytes table, PathTableStop expected, bool big_endian = false) {
  PathTableReader reader(table, big_endian);
  std::vector<PathTableRecord> all;
  EXPECT_EQ(reader.stop(), PathTableStop::kNone);
  while (const auto r = reader.next()) all.push_back(*r);
  EXPECT_EQ(reader.stop(), expected);
  EXPECT_FALSE(reader.next());
  return all;
}

// ECMA-119 9.4, laid out by hand: root, DOCS (4 letters), BIN (3 letters and a pad byte) under root, A under DOCS.
const char* const kL =
    "01 00 17 00 00 00 01 00 00 00  03 00 18 00 00 00 01 00 42 49 4e 00  04 02 19 00 00 00 01 00 44 4f 43 53"
    "01 00 1a 00 00 00 03 00 41 00";
const char* const kM =
    "01 00 00 00 00 17 00 01 00 00  03 00 00 00 00 18 00 01 42 49 4e 00  04 02 00 00 00 19 00 01 44 4f 43 53"
    "01 00 00 00 00 1a 00 03 41 00";

TEST(PathTable, KnownGoodInBothOrders) {
  const Buffer l = from_hex(kL), m = from_hex(kM);
  const auto a = read(l, PathTableStop::kEnd), b = read(m, PathTableStop::kEnd, true);
  ASSERT_EQ(a.size(), 4u);
  ASSERT_EQ(b.size(), 4u);
  for (std::size_t i = 0; i < 4; ++i) {
    for (const PathTableRecord& r : {a[i], b[i]}) {
      EXPECT_EQ(r.extent, 23 + i);
      EXPECT_EQ(r.number, i + 1);
      EXPECT_EQ(r.parent_number, i == 3 ? 3 : 1);
      EXPECT_EQ(r.problems, 0u);
      EXPECT_EQ(r.ear_length, i == 2 ? 2 : 0);
    }
  }
  EXPECT_TRUE(a[0].is_root());
  EXPECT_EQ(as_text(a[1].identifier), "BIN");
  EXPECT_EQ(as_text(a[2].identifier), "DOCS");
  EXPECT_EQ(a[2].offset, 22u);
  EXPECT_EQ(as_text(a[3].identifier), "A");
}

TEST(PathTable, Truncated) {
  const std::size_t ends[] = {10, 22, 34, 44};
  for_each_length(from_hex(kL), [&](Bytes b) {
    PathTableReader reader(b, false);
    std::size_t count = 0;
    while (reader.next()) ++count;
    // The last pad byte may be missing.
    std::size_t expected = 0;
    bool at_end = b.empty();
    for (const std::size_t end : ends) {
      const std::size_t least = end == 34 ? end : end - 1;
      if (b.size() >= least) ++expected;
      at_end |= b.size() == end || b.size() == least;
    }
    EXPECT_EQ(count, expected);
    EXPECT_EQ(reader.stop(), at_end ? PathTableStop::kEnd : PathTableStop::kOverrun);
  });
}

TEST(PathTable, ZeroPaddingStops) {
  const Buffer b = from_hex(kL) + Buffer(20);
  EXPECT_EQ(read(b, PathTableStop::kZeroLength).size(), 4u);
  EXPECT_TRUE(read(Buffer(2048), PathTableStop::kZeroLength).empty());
}

TEST(PathTable, MaximalIdentifier) {
  const Buffer b = from_hex("01 00 17 00 00 00 01 00 00 00 ff 00 18 00 00 00 01 00") + Buffer(255, 'A') + Buffer{0};
  const auto all = read(b, PathTableStop::kEnd);
  ASSERT_EQ(all.size(), 2u);
  EXPECT_EQ(all[1].identifier.size(), 255u);
}

TEST(PathTable, Problems) {
  Buffer b = from_hex(kL);
  b[40] = 4;  // A's parent is itself
  EXPECT_EQ(read(b, PathTableStop::kEnd)[3].problems, path_table_problem::kParentNotBefore);
  b[40] = 0;
  EXPECT_EQ(read(b, PathTableStop::kEnd)[3].problems,
            path_table_problem::kParentZero | path_table_problem::kParentDecreases);
  b = from_hex(kL);
  b[28] = 2;  // DOCS under BIN
  b[40] = 1;  // then A under root
  EXPECT_EQ(read(b, PathTableStop::kEnd)[3].problems, path_table_problem::kParentDecreases);
  b = from_hex(kL);
  b[43] = 9;
  EXPECT_EQ(read(b, PathTableStop::kEnd)[3].problems, path_table_problem::kPadding);
  b = from_hex(kL);
  b[8] = 'X';
  EXPECT_EQ(read(b, PathTableStop::kEnd)[0].problems, path_table_problem::kRoot);
  b = from_hex(kL);
  b[6] = 2;
  EXPECT_EQ(read(b, PathTableStop::kEnd)[0].problems, path_table_problem::kRoot);
}

// 9.4.4 has 16 bits for the parent's number; a table may well have more records.
TEST(PathTable, MoreRecordsThanParentNumbers) {
  const Buffer one = from_hex("01 00 17 00 00 00 01 00 00 00");
  Buffer b;
  for (int i = 0; i < 70000; ++i) b.insert(b.end(), one.begin(), one.end());
  const auto all = read(b, PathTableStop::kEnd);
  ASSERT_EQ(all.size(), 70000u);
  EXPECT_EQ(all.back().number, 70000u);
  EXPECT_EQ(all.back().problems, 0u);
}

}  // namespace
}  // namespace lacuna::iso9660
