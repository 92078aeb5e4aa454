// SPDX-License-Identifier: GPL-3.0-or-later
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "combine/merge.h"

namespace lacuna {
namespace {

SettledRun run(std::uint64_t first, std::uint64_t count, Settled how, ReadMask reads, ReadMask against = 0) {
  const bool bad = how == Settled::kMissing;
  const bool suspect = how == Settled::kConflict;
  return {first,  count,       bad ? SectorState::kBad : suspect ? SectorState::kSuspect : SectorState::kGood,
          how,    Basis::kMap, reads,
          against};
}

Settled how_at(const SettledRuns& runs, std::uint64_t lba) {
  for (const SettledRun& r : runs) {
    if (r.first <= lba && lba < r.end()) return r.how;
  }
  return Settled::kMissing;
}

TEST(SettledRuns, TouchingAlikeOnesBecomeOne) {
  SettledRuns runs;
  append_run(runs, run(0, 5, Settled::kAlone, 1));
  append_run(runs, run(5, 5, Settled::kAlone, 1));
  append_run(runs, run(10, 5, Settled::kAlone, 2));
  append_run(runs, run(16, 5, Settled::kAlone, 2));
  ASSERT_EQ(runs.size(), 3U);
  EXPECT_EQ(runs[0].count, 10U);
}

TEST(SettledRuns, ReplacingIsWhatReplacingSectorBySectorGives) {
  std::mt19937 random(11);
  for (int round = 0; round < 2000; ++round) {
    std::vector<int> expected;
    const auto make = [&](bool gaps) {
      SettledRuns runs;
      for (std::uint64_t at = 0; at < 40;) {
        const std::uint64_t count = 1 + random() % 9;
        const auto how = static_cast<Settled>(random() % 6);
        if (!gaps || random() % 2 == 0) append_run(runs, run(at, std::min(count, 40 - at), how, 1));
        at += count;
      }
      return runs;
    };
    const SettledRuns runs = make(false), fresh = make(true);
    const SettledRuns out = replaced(runs, fresh);
    for (std::uint64_t lba = 0; lba < 40; ++lba) {
      const bool in_fresh =
          std::ranges::any_of(fresh, [&](const SettledRun& r) { return r.first <= lba && lba < r.end(); });
      ASSERT_EQ(how_at(out, lba), how_at(in_fresh ? fresh : runs, lba)) << round << " " << lba;
    }
    ASSERT_TRUE(std::ranges::is_sorted(out, {}, &SettledRun::first));
  }
}

TEST(SettledRuns, WhatAContradictedReadAloneHasIsSuspect) {
  SettledRuns runs{run(0, 5, Settled::kMajority, 0b011, 0b100), run(5, 5, Settled::kAlone, 0b100),
                   run(10, 5, Settled::kAlone, 0b001)};
  distrust(runs);
  EXPECT_EQ(how_at(runs, 5), Settled::kDistrusted);
  EXPECT_EQ(runs[1].state, SectorState::kSuspect);
  EXPECT_EQ(how_at(runs, 10), Settled::kAlone);
}

TEST(SettledRuns, AConflictOfTwoBlamesBoth) {
  EXPECT_EQ(contradicted({run(0, 1, Settled::kConflict, 0b01, 0b10)}), 0b11U);
}

TEST(SettledRuns, AConflictWithOneThatErrsElsewhereBlamesThatOne) {
  const SettledRuns runs{run(0, 1, Settled::kMajority, 0b011, 0b100), run(1, 1, Settled::kConflict, 0b001, 0b100)};
  EXPECT_EQ(contradicted(runs), 0b100U);
  // Whichever of the two was taken.
  const SettledRuns other{run(0, 1, Settled::kMajority, 0b011, 0b100), run(1, 1, Settled::kConflict, 0b100, 0b001)};
  EXPECT_EQ(contradicted(other), 0b100U);
}

TEST(SettledRuns, TwoOthersThatDifferAreNotClearedByAThirdThatErrs) {
  const SettledRuns runs{run(0, 1, Settled::kMajority, 0b011, 0b100), run(1, 1, Settled::kConflict, 0b001, 0b110)};
  EXPECT_EQ(contradicted(runs), 0b111U);
}

}  // namespace
}  // namespace lacuna
