// SPDX-License-Identifier: GPL-3.0-or-later
// A part of the recovery grid with fixed seeds: each kind of disc, hurt in ways that matter to it, shown in every way.
// What can be found is found, under its own path where its names survive, and nothing is called whole that is not.
// tests/bench/recovery runs all of the grid.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "score.h"

namespace lacuna::test {
namespace {

/// Cells, over all ways of showing, that come short of the limit: files that are not found, those found under another
/// path though all names of their own survive, and files of another volume shown as this one's.
const std::vector<std::string>& known_shortcomings() {
  static const std::vector<std::string> all = {
      "bridge | random 5 %: 0 missed, 20 misplaced, 0 foreign",
      "stored-images | lost: descriptors, path tables and roots: 0 missed, 192 misplaced, 0 foreign",
      "udf-1.02 | lost: directory entries: 0 missed, 52 misplaced, 0 foreign",
      "udf-1.50-vat | lost: FIDs: 0 missed, 4 misplaced, 0 foreign",
      "udf-1.50-vat | lost: directory entries: 0 missed, 148 misplaced, 0 foreign",
      "udf-2.01 | lost: directory entries: 0 missed, 52 misplaced, 0 foreign",
      "udf-2.01-sparable | lost: directory entries: 0 missed, 52 misplaced, 0 foreign",
      "udf-2.50-metadata | lost: directory entries: 0 missed, 52 misplaced, 0 foreign",
      "udf-used-twice | lost: directory entries: 0 missed, 52 misplaced, 0 foreign",
  };
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
    const std::string short_of_limit = fmt::format("{} | {}: {} missed, {} misplaced, {} foreign", disc->name, name,
                                                   sum.missed, sum.path_limit - sum.right, sum.foreign);
    const bool is_short = sum.missed != 0 || sum.path_limit != sum.right || sum.foreign != 0;
    EXPECT_EQ(std::ranges::count(known_shortcomings(), short_of_limit), is_short ? 1 : 0) << short_of_limit;
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
