// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/chunked_array.h"

#include <gtest/gtest.h>

#include <string>

#include "lacuna/text_arena.h"

namespace lacuna {
namespace {

TEST(ChunkedArray, ElementsKeepTheirValuesAndPlacesWhileItGrows) {
  ChunkedArray<std::uint64_t> array;
  array.push_back(0);
  const std::uint64_t* first = &array[0];
  for (std::uint64_t i = 1; i < 400000; ++i) array.push_back(i * i);
  EXPECT_EQ(&array[0], first);
  ASSERT_EQ(array.size(), 400000u);
  for (std::uint64_t i = 0; i < array.size(); ++i) ASSERT_EQ(array[i], i * i);
}

TEST(ChunkedArray, AnElementOfItselfCanBePushed) {
  ChunkedArray<int> array;
  for (int i = 0; i < 1024; ++i) array.push_back(i);
  array.push_back(array[1]);  // needs a new chunk
  EXPECT_EQ(array.back(), 1);
}

TEST(ChunkedArray, MovedFromIsEmptyAndUsable) {
  ChunkedArray<int> a;
  a.push_back(7);
  ChunkedArray<int> b(std::move(a));
  EXPECT_EQ(b[0], 7);
  a = ChunkedArray<int>();
  a.push_back(8);
  EXPECT_EQ(a[0], 8);
  b = std::move(a);
  EXPECT_EQ(b[0], 8);
}

TEST(TextArena, TextsComeBackAcrossBlocks) {
  TextArena arena;
  std::vector<TextRef> refs;
  for (int i = 0; i < 60000; ++i) refs.push_back(arena.add("text number " + std::to_string(i) + std::string(100, 'x')));
  for (int i = 0; i < 60000; ++i) {
    ASSERT_EQ(arena.get(refs[static_cast<std::size_t>(i)]), "text number " + std::to_string(i) + std::string(100, 'x'));
  }
}

TEST(TextArena, EmptyAndOverlongTextsAreEmpty) {
  TextArena arena;
  EXPECT_EQ(arena.get(arena.add("")), "");
  EXPECT_EQ(arena.get(arena.add(std::string(std::size_t{3} << 20, 'x'))), "");
  EXPECT_EQ(arena.get({}), "");
}

}  // namespace
}  // namespace lacuna
