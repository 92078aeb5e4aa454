// SPDX-License-Identifier: GPL-3.0-or-later
// A part of the recovery grid with fixed seeds: each kind of disc, hurt in ways that matter to it, shown in every way.
// What can be found is found, under its own path, and nothing is called whole that is not. tests/bench/recovery runs
// all of the grid.
#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "score.h"

namespace lacuna::test {
namespace {

/// What a cell gives, over all ways of showing. All that is in the limit must be found under a right path, but for
/// these.
struct Exception {
  std::string disc, damage;
  std::uint64_t elsewhere = 0, missed = 0;
  std::string why;
};
const std::vector<Exception>& exceptions() {
  static const std::vector<Exception> all = {};
  return all;
}

/// The damage that every disc suffers here; those of structures where the disc has them.
const std::vector<std::string>& chosen_damage() {
  static const std::vector<std::string> all = {
      "none",
      "random 1 %",
      "random 5 %",
      "head 32 KiB",
      "cut at 70 %",
      "late by 20, unknown",
      "lost: descriptors, path tables and roots",
      "lost: all descriptors",
      "lost: primary directories",
      "lost: Joliet directories",
      "lost: FIDs",
      "lost: directory entries",
      "lost: VAT",
      "lost: metadata main",
  };
  return all;
}

class RecoveryGrid : public ::testing::TestWithParam<std::string> {};

TEST_P(RecoveryGrid, WhatSurvivesIsFound) {
  std::string why_not;
  const auto disc = author_disc(GetParam(), 90, why_not);
  if (!disc) GTEST_SKIP() << why_not;
  const StructureClasses classes = structure_classes(*disc);
  const Limit limit(*disc);
  const std::vector<std::string> possible = damage_names(classes);
  for (const std::string& name : chosen_damage()) {
    if (std::ranges::find(possible, name) == possible.end()) continue;
    const Damage damage = make_damage(*disc, classes, name, 1);
    Tally sum;
    std::vector<std::string> remarks;
    for (const Showing showing : kShowings) {
      if (damage.lost.empty() && showing != Showing::kMap) continue;
      sum += score(*disc, limit, damage, showing, {.all_elsewhere = true}, &remarks);
    }
    std::string said;
    for (std::size_t i = 0; i < remarks.size() && i < 20; ++i) said += "\n  " + remarks[i];
    SCOPED_TRACE(name + said);
    EXPECT_EQ(sum.false_whole, 0U);
    EXPECT_EQ(sum.misnamed, 0U);
    Exception expected;
    for (const Exception& e : exceptions()) {
      if (e.disc == disc->name && e.damage == name) expected = e;
    }
    EXPECT_EQ(sum.missed, expected.missed);
    EXPECT_EQ(sum.elsewhere, expected.elsewhere);
    EXPECT_EQ(sum.right, sum.limit - expected.missed - expected.elsewhere);
    // The limit itself is that of all files when nothing is lost.
    const auto current = std::ranges::count_if(disc->files, [](const TaggedFile& f) { return !f.superseded; });
    if (name == "none") {
      EXPECT_EQ(sum.limit, static_cast<std::uint64_t>(current));
    }
  }
}

INSTANTIATE_TEST_SUITE_P(Discs, RecoveryGrid, ::testing::ValuesIn(disc_kinds()), [](const auto& i) {
  std::string name = i.param;
  std::ranges::replace_if(
      name, [](char c) { return c == '-' || c == '.'; }, '_');
  return name;
});

}  // namespace
}  // namespace lacuna::test
