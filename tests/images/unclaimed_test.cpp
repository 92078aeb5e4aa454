// SPDX-License-Identifier: GPL-3.0-or-later
// Data on a disc that no file and no structure fills.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "lacuna/content.h"
#include "lacuna/disc.h"
#include "lacuna/verdict.h"
#include "support/iso_builder.h"
#include "support/memory_image.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;

/// A disc with one file, and behind it three sectors of a picture, two blank ones, and one of something.
struct DiscWithRest {
  DiscWithRest() {
    IsoImage iso = build_iso(iso_directory("", {iso_file("TIDES.TXT;1", std::string(3000, 't'))}));
    rest_lba = iso.end_lba();
    iso.bytes.resize(iso.bytes.size() + 6 * kSectorBytes);
    const auto rest = iso.at(rest_lba * kSectorBytes);
    // The first bytes of a JPEG file (ISO/IEC 10918-5, 10: SOI, APP0 "JFIF").
    constexpr std::array<std::uint8_t, 20> kJfif{0xff, 0xd8, 0xff, 0xe0, 0, 16, 'J', 'F', 'I', 'F',
                                                 0,    1,    1,    0,    0, 1,  0,   1,   0,   0};
    std::fill(rest.begin(), rest.begin() + 3 * kSectorBytes, std::uint8_t{0x5a});
    std::copy(kJfif.begin(), kJfif.end(), rest.begin());
    rest[5 * kSectorBytes] = 0x81;
    memory.emplace(std::move(iso.bytes));
    memory->with_map();
  }

  std::optional<MemoryImage> memory;
  std::uint64_t rest_lba = 0;
};

std::vector<std::string> paths(const Disc& disc) {
  std::vector<std::string> all;
  for (const NodeId id : disc.tree().in_order()) all.push_back(disc.tree().path(id));
  return all;
}

TEST(Unclaimed, IsListedOnRequestOnly) {
  DiscWithRest rest;
  const auto image = rest.memory->open();
  EXPECT_THAT(paths(**open_disc(*image)), ElementsAre("TIDES.TXT"));
  DiscOptions options;
  options.unclaimed = true;
  const auto disc = open_disc(*image, options);
  const std::string picture = "_unclaimed/at-" + std::to_string(rest.rest_lba) + ".jpeg";
  const std::string data = "_unclaimed/at-" + std::to_string(rest.rest_lba + 5) + ".data";
  ASSERT_THAT(paths(**disc), ElementsAre("TIDES.TXT", "_unclaimed", picture, data));

  const Tree& tree = (*disc)->tree();
  const auto verdicts = judge(**disc);
  for (const NodeId id : {NodeId{3}, NodeId{4}}) EXPECT_EQ(verdicts->of(id).state, FileState::kDoubtful);
  EXPECT_THAT(tree.doubts(3), ElementsAre(HasSubstr("they begin like image/jpeg")));
  EXPECT_EQ(tree.node(3).size, 3 * kSectorBytes);
  EXPECT_EQ(tree.extents(tree.node(3))[0].position, rest.rest_lba * kSectorBytes);
  EXPECT_EQ(tree.node(4).size, kSectorBytes);
  EXPECT_EQ(verdicts->of(1).state, FileState::kWhole) << "nobody else's claim is doubted for it";
}

TEST(Unclaimed, WhatCannotBeReadIsNotAmongIt) {
  DiscWithRest rest;
  rest.memory->mark(rest.rest_lba + 1, 1, SectorState::kBad);
  const auto image = rest.memory->open();
  DiscOptions options;
  options.unclaimed = true;
  const auto disc = open_disc(*image, options);
  const std::string at = "_unclaimed/at-";
  EXPECT_THAT(paths(**disc), ElementsAre("TIDES.TXT", "_unclaimed", at + std::to_string(rest.rest_lba) + ".jpeg",
                                         at + std::to_string(rest.rest_lba + 2) + ".data",
                                         at + std::to_string(rest.rest_lba + 5) + ".data"));
}

}  // namespace
}  // namespace lacuna::test
