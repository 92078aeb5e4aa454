// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/sector_map.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <vector>

#include "lacuna/image.h"
#include "media/runs_of.h"
#include "support/memory_image.h"

namespace lacuna {
namespace {

using enum SectorState;
using test::Runs;
using test::runs_of;

TEST(SectorMap, EmptyMapIsItsDefaultEverywhere) {
  const SectorMap map(kUnread);
  EXPECT_EQ(map.at(0), kUnread);
  EXPECT_EQ(map.at(~std::uint64_t{0}), kUnread);
  EXPECT_FALSE(map.lists(5));
  EXPECT_EQ(map.slice(3, 9), (Runs{{3, 6, kUnread}}));
  EXPECT_TRUE(map.slice(9, 9).empty());
}

TEST(SectorMap, LaterRunsWinAndSplitEarlierOnes) {
  const SectorMap map = SectorMap::from_runs({{10, 20, kGood}, {15, 5, kBad}, {0, 12, kUnread}});
  EXPECT_EQ(runs_of(map), (Runs{{0, 12, kUnread}, {12, 3, kGood}, {15, 5, kBad}, {20, 10, kGood}}));
}

TEST(SectorMap, NeighboursOfOneStateAreJoinedAndEmptyRunsDropped) {
  const SectorMap map = SectorMap::from_runs({{5, 5, kBad}, {10, 2, kBad}, {20, 0, kBad}});
  EXPECT_EQ(runs_of(map), (Runs{{5, 7, kBad}}));
}

TEST(SectorMap, RunsBeyondTheLastNumberAreClipped) {
  const std::uint64_t max = ~std::uint64_t{0};
  const SectorMap map = SectorMap::from_runs({{max - 2, 100, kBad}, {7, max, kUnread}, {max - 9, max, kSuspect}});
  EXPECT_EQ(map.at(6), kGood);
  EXPECT_EQ(map.at(7), kUnread);
  EXPECT_EQ(map.at(max - 1), kSuspect);
}

TEST(SectorMap, WorstOfTwoIsListedWhereEitherLists) {
  const SectorMap a = SectorMap::from_runs({{0, 10, kGood}, {20, 5, kBad}});
  const SectorMap b = SectorMap::from_runs({{5, 10, kSuspect}, {22, 1, kGood}}, kUnread);
  const SectorMap worst = a.worst_with(b);
  EXPECT_EQ(worst.default_state(), kUnread);
  // What b doesn't list is unread there, which is worse than a's good and bad.
  EXPECT_EQ(runs_of(worst),
            (Runs{{0, 5, kUnread}, {5, 10, kSuspect}, {20, 2, kUnread}, {22, 1, kBad}, {23, 2, kUnread}}));
}

TEST(SectorMap, AgreesWithOneStateASectorOnRandomMaps) {
  constexpr std::uint64_t kSize = 100;
  std::mt19937 random(7);
  const auto number = [&](std::uint64_t below) { return random() % below; };
  for (int round = 0; round < 3000; ++round) {
    SectorMap maps[2] = {SectorMap(), SectorMap()};
    std::vector<SectorState> states[2];
    std::vector<bool> listed[2];
    for (int which = 0; which < 2; ++which) {
      const auto default_state = static_cast<SectorState>(number(kSectorStateCount));
      states[which].assign(kSize, default_state);
      listed[which].assign(kSize, false);
      Runs runs;
      for (std::uint64_t n = number(10); n > 0; --n) {
        const std::uint64_t first = number(kSize);
        const SectorRun run{first, std::min(kSize - first, number(25)),
                            static_cast<SectorState>(number(kSectorStateCount))};
        runs.push_back(run);
        for (std::uint64_t i = run.first; i < run.end(); ++i) {
          states[which][i] = run.state;
          listed[which][i] = true;
        }
      }
      maps[which] = SectorMap::from_runs(runs, default_state);
      for (std::size_t i = 1; i < maps[which].runs().size(); ++i) {
        const SectorRun& before = maps[which].runs()[i - 1];
        const SectorRun& run = maps[which].runs()[i];
        ASSERT_TRUE(before.end() < run.first || (before.end() == run.first && before.state != run.state));
      }
    }
    const SectorMap worst = maps[0].worst_with(maps[1]);
    ASSERT_EQ(worst, maps[1].worst_with(maps[0]));
    for (std::uint64_t i = 0; i < kSize; ++i) {
      ASSERT_EQ(maps[0].at(i), states[0][i]);
      ASSERT_EQ(maps[0].lists(i), listed[0][i]);
      ASSERT_EQ(worst.at(i), std::max(states[0][i], states[1][i]));
      ASSERT_EQ(worst.lists(i), listed[0][i] || listed[1][i]);
    }
    const std::uint64_t first = number(kSize);
    const std::uint64_t end = first + number(kSize - first);
    std::uint64_t at = first;
    for (const SectorRun& run : maps[0].slice(first, end)) {
      ASSERT_EQ(run.first, at);
      for (; at < run.end(); ++at) ASSERT_EQ(run.state, states[0][at]);
    }
    ASSERT_EQ(at, end);
    for (const std::string& written : {to_map_text(maps[0], kSize), to_map_json(maps[0], kSize)}) {
      const Result<SectorMap> read_back = parse_sector_map(written, "written");
      ASSERT_TRUE(read_back.ok()) << read_back.error().message;
      ASSERT_EQ(read_back->slice(0, kSize), maps[0].slice(0, kSize)) << written;
    }
  }
}

TEST(SectorMap, AMillionOverlappingRunsAreSorted) {
  std::mt19937_64 random(99);
  Runs runs;
  for (int i = 0; i < 1'000'000; ++i) {
    runs.push_back({random() % 50'000'000, 1 + random() % 100, static_cast<SectorState>(random() % kSectorStateCount)});
  }
  // A quadratic way would run into the time limit of the test program.
  const SectorMap map = SectorMap::from_runs(std::move(runs));
  EXPECT_GT(map.runs().size(), 100'000U);
}

TEST(SectorMap, TextFormListsEveryRunAndTheBasis) {
  const SectorMap map = SectorMap::from_runs({{0, 10, kGood}, {10, 2, kBad}, {30, 100, kAbsent}});
  EXPECT_EQ(to_map_text(map, 40),
            "# Sector map: FIRST COUNT STATE, in sectors of 2048 bytes\n"
            "#! basis map\n"
            "0 10 good\n"
            "10 2 bad\n"
            "12 18 good\n"
            "30 10 absent\n");
}

TEST(SectorMap, InferredMapStaysInferredWhenReadBack) {
  SectorMap map = SectorMap::from_runs({{0, 10, kGood}, {10, 2, kSuspect}});
  map.set_basis(Basis::kAssumed);
  for (const std::string& written : {to_map_text(map, 12), to_map_json(map, 12)}) {
    const auto back = parse_sector_map(written, "m");
    ASSERT_TRUE(back.ok()) << back.error().message;
    EXPECT_EQ(back->basis(), Basis::kAssumed);
    EXPECT_EQ(back->at(10), kSuspect);
    test::MemoryImage memory(test::numbered_sectors(12));
    const auto image = Image::from_source(memory.source(), {*back});
    EXPECT_FALSE(image->has_map());
    EXPECT_EQ(image->basis(), Basis::kAssumed);
    EXPECT_EQ(image->states().at(10), kSuspect);
  }
}

TEST(SectorMap, JsonFormListsEveryRun) {
  EXPECT_EQ(
      to_map_json(SectorMap::from_runs({{10, 2, kBad}}), 15),
      R"({"schema":"lacuna/map/1","unit":"sectors","default":"good","basis":"map","runs":[[0,10,"good"],[10,2,"bad"],[12,3,"good"]]})");
}

}  // namespace
}  // namespace lacuna
