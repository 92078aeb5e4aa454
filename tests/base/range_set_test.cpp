// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/range_set.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <utility>
#include <vector>

namespace lacuna {
namespace {

constexpr std::uint64_t kMax = ~std::uint64_t{0};

std::vector<Range> ranges_of(const RangeSet& set) { return {set.ranges().begin(), set.ranges().end()}; }

RangeSet set_of(std::vector<Range> ranges) { return RangeSet::from_unsorted(std::move(ranges)); }

TEST(RangeSet, UnsortedOverlappingTouchingAndEmptyRangesBecomeSortedDisjointOnes) {
  EXPECT_EQ(ranges_of(set_of({{30, 40}, {5, 5}, {10, 20}, {15, 18}, {20, 22}, {9, 3}, {39, 41}})),
            (std::vector<Range>{{10, 22}, {30, 41}}));
}

TEST(RangeSet, EmptySetAnswersNothing) {
  const RangeSet none;
  EXPECT_TRUE(none.empty());
  EXPECT_EQ(none.total(), 0U);
  EXPECT_FALSE(none.contains(0));
  EXPECT_FALSE(none.intersects({0, kMax}));
  EXPECT_EQ(none.first_ending_after(0), 0U);
  EXPECT_EQ(none.first_ending_after(7, 99), 0U);
}

TEST(RangeSet, AddingInFrontBetweenAndAcrossJoins) {
  RangeSet set = set_of({{10, 20}, {30, 40}, {50, 60}});
  set.add({0, 5});
  EXPECT_EQ(ranges_of(set), (std::vector<Range>{{0, 5}, {10, 20}, {30, 40}, {50, 60}}));
  set.add({20, 30});
  EXPECT_EQ(ranges_of(set), (std::vector<Range>{{0, 5}, {10, 40}, {50, 60}}));
  set.add({4, 55});
  EXPECT_EQ(ranges_of(set), (std::vector<Range>{{0, 60}}));
  set.add({60, 61});
  set.add({61, 61});
  EXPECT_EQ(ranges_of(set), (std::vector<Range>{{0, 61}}));
}

TEST(RangeSet, RangesAtTheEndOfTheNumbersDoNotWrap) {
  RangeSet set;
  set.add({kMax - 1, kMax});
  set.add({0, 1});
  EXPECT_TRUE(set.contains(kMax - 1));
  EXPECT_FALSE(set.contains(kMax));
  EXPECT_EQ(ranges_of(set.minus(set_of({{1, kMax}}))), (std::vector<Range>{{0, 1}}));
}

TEST(RangeSet, FirstEndingAfterGivesTheSameFromEveryHint) {
  const RangeSet set = set_of({{1, 3}, {5, 6}, {8, 12}, {20, 21}, {22, 30}, {40, 41}, {50, 60}});
  for (std::uint64_t at = 0; at < 62; ++at) {
    const auto found =
        std::find_if(set.ranges().begin(), set.ranges().end(), [&](const Range& r) { return r.end > at; });
    const auto expected = static_cast<std::size_t>(found - set.ranges().begin());
    for (std::size_t hint = 0; hint < 10; ++hint) {
      EXPECT_EQ(set.first_ending_after(at, hint), expected) << at << " from " << hint;
    }
  }
}

// The naive model: one flag an element.
class Flags {
 public:
  static constexpr std::uint64_t kSize = 120;
  std::vector<bool> flags = std::vector<bool>(kSize);

  void add(Range r) {
    for (std::uint64_t i = r.first; i < r.end; ++i) flags[i] = true;
  }
  std::vector<Range> ranges() const {
    std::vector<Range> out;
    for (std::uint64_t i = 0; i < kSize; ++i) {
      if (!flags[i]) continue;
      if (!out.empty() && out.back().end == i)
        ++out.back().end;
      else
        out.push_back({i, i + 1});
    }
    return out;
  }
};

TEST(RangeSet, AgreesWithOneFlagAnElementOnRandomSets) {
  std::mt19937 random(20240601);
  const auto number = [&](std::uint64_t below) { return random() % below; };
  for (int round = 0; round < 2000; ++round) {
    Flags model[2];
    RangeSet added[2];
    RangeSet sorted[2];
    for (int which = 0; which < 2; ++which) {
      std::vector<Range> ranges;
      for (std::uint64_t n = number(12); n > 0; --n) {
        const std::uint64_t first = number(Flags::kSize);
        const Range r{first, std::min(Flags::kSize, first + number(20))};
        ranges.push_back(r);
        model[which].add(r);
        added[which].add(r);
      }
      sorted[which] = set_of(ranges);
      ASSERT_EQ(ranges_of(added[which]), model[which].ranges());
      ASSERT_EQ(sorted[which], added[which]);
    }
    Flags both;
    Flags either;
    Flags only;
    for (std::uint64_t i = 0; i < Flags::kSize; ++i) {
      const bool a = model[0].flags[i];
      const bool b = model[1].flags[i];
      both.flags[i] = a && b;
      either.flags[i] = a || b;
      only.flags[i] = a && !b;
      ASSERT_EQ(sorted[0].contains(i), a);
    }
    ASSERT_EQ(ranges_of(sorted[0].intersected(sorted[1])), both.ranges());
    ASSERT_EQ(ranges_of(sorted[0].united(sorted[1])), either.ranges());
    ASSERT_EQ(ranges_of(sorted[0].minus(sorted[1])), only.ranges());
    ASSERT_EQ(sorted[0].total(), static_cast<std::uint64_t>(std::ranges::count(model[0].flags, true)));
    const std::uint64_t first = number(Flags::kSize);
    const Range probe{first, std::min(Flags::kSize, first + number(9))};
    bool any = false;
    for (std::uint64_t i = probe.first; i < probe.end; ++i) any = any || model[0].flags[i];
    ASSERT_EQ(sorted[0].intersects(probe), any);
  }
}

}  // namespace
}  // namespace lacuna
