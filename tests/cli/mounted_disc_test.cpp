// SPDX-License-Identifier: GPL-3.0-or-later
// What a mount shows, without mounting.
#include "tools/mounted_disc.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cerrno>

#include "salvage/hand_disc.h"
#include "support/memory_image.h"

namespace lacuna::tool {
namespace {

using test::at_lba;
using ::testing::ElementsAre;
using ::testing::EndsWith;
using ::testing::HasSubstr;
using ::testing::StartsWith;

class MountedDiscTest : public ::testing::Test {
 protected:
  /// Ends the making of the disc.
  const MountedDisc& made() {
    hand_.finish();
    verdicts_ = std::make_unique<Verdicts>(*judge(hand_.disc()));
    mounted_ = std::make_unique<MountedDisc>(hand_.disc(), *verdicts_);
    return *mounted_;
  }
  MountedFile opened(std::string_view path) const {
    const NodeId id = hand_.id(path);
    return {hand_.disc(), id, mounted_->state(id)};
  }

  std::unique_ptr<Image> image_ = test::MemoryImage(test::numbered_sectors(60))
                                      .mark(30, 2, SectorState::kBad)
                                      .mark(40, 1, SectorState::kBad)
                                      .mark(50, 1, SectorState::kSuspect)
                                      .open("harbour.iso");
  test::HandDisc hand_{*image_};
  std::unique_ptr<Verdicts> verdicts_;
  std::unique_ptr<MountedDisc> mounted_;
};

TEST_F(MountedDiscTest, ReadsEndAtTheFirstMissingByteAndGoOnBehindIt) {
  hand_.file("a", 28, 5 * kSectorBytes);  // Its sectors 2 and 3 are bad.
  made();
  MountedFile file = opened("a");
  std::vector<std::uint8_t> out(10 * kSectorBytes);
  MountedFile::Got got = file.read(100, out, false);
  EXPECT_EQ(got.error, 0);
  EXPECT_EQ(got.bytes, 2 * kSectorBytes - 100);
  EXPECT_EQ(file.read(100, out, true).error, EIO);
  EXPECT_EQ(file.read(2 * kSectorBytes, out, false).error, EIO);
  EXPECT_EQ(file.read(4 * kSectorBytes - 1, std::span(out).first(1), false).error, EIO);
  got = file.read(4 * kSectorBytes, out, true);
  EXPECT_EQ(got.error, 0);
  EXPECT_EQ(got.bytes, kSectorBytes);
  EXPECT_TRUE(std::ranges::equal(std::span(out).first(kSectorBytes), test::numbered_sector(32)));
  got = file.read(5 * kSectorBytes, out, false);
  EXPECT_EQ(got.error, 0);
  EXPECT_EQ(got.bytes, 0U);
}

TEST_F(MountedDiscTest, SuspectBytesAreReadAndToldOf) {
  hand_.file("s", 50, 1000);
  const MountedDisc& disc = made();
  const NodeId id = hand_.id("s");
  std::vector<std::uint8_t> out(1000);
  EXPECT_EQ(opened("s").read(0, out, true).bytes, 1000U);
  EXPECT_FALSE(disc.has_gaps(id));
  EXPECT_EQ(disc.attribute(id, "user.lacuna.state"), "doubtful");
  EXPECT_EQ(disc.attribute(id, "user.lacuna.gaps"), "0 1000 suspect");
  EXPECT_TRUE(disc.attribute(id, "user.lacuna.doubts"));
}

TEST_F(MountedDiscTest, WhatHasNoBytesGivesNone) {
  hand_.file("lost", 40, 100);
  hand_.file("nowhere", 500, {}, node_flag::kUnlocated);
  const MountedDisc& disc = made();
  std::vector<std::uint8_t> out(1000);
  for (const char* name : {"lost", "nowhere"}) {
    EXPECT_EQ(opened(name).read(0, out, false).error, EIO) << name;
    EXPECT_TRUE(disc.has_gaps(hand_.id(name))) << name;
  }
  EXPECT_EQ(opened("nowhere").read(500, out, false).error, 0);
  EXPECT_FALSE(disc.attribute(hand_.id("nowhere"), "user.lacuna.extents"));
}

TEST_F(MountedDiscTest, NamesAreFoundAndOverlongOnesAreCutApart) {
  // 85 times three bytes are 255: the next does not fit, and no character is cut in two.
  std::string name;
  for (int i = 0; i < 100; ++i) name += "\xe6\xb8\xaf";
  hand_.file(name + "1", 20, 10);
  hand_.file(name + "2", 21, 10);
  hand_.file("b", 22, 10);
  hand_.directory("a", 0);
  const MountedDisc& disc = made();
  ASSERT_EQ(disc.children(kRoot).size(), 4U);
  EXPECT_EQ(disc.name(disc.children(kRoot)[0]), "a");
  EXPECT_EQ(disc.name(disc.children(kRoot)[1]), "b");
  for (const NodeId id : disc.children(kRoot).subspan(2)) {
    const std::string shown(disc.name(id));
    EXPECT_LE(shown.size(), 255U);
    EXPECT_THAT(shown, EndsWith("\xb8\xaf~" + std::to_string(id)));
    EXPECT_EQ(disc.child(kRoot, shown), id);
    EXPECT_THAT(*disc.attribute(id, "user.lacuna.path"), StartsWith(name)) << "the whole name";
  }
  EXPECT_FALSE(disc.child(kRoot, name + "1"));
  EXPECT_FALSE(disc.child(kRoot, ""));
  EXPECT_FALSE(disc.child(kRoot, "zzz"));
  EXPECT_EQ(disc.parent(kRoot), kRoot);
}

TEST_F(MountedDiscTest, ListsThatAreTooLongForAnAttributeSaySo) {
  std::vector<Extent> many;
  for (std::uint64_t i = 0; i < 20000; ++i) many.push_back({(i % 2) * kSectorBytes + 20 * kSectorBytes, 1, 0, 0});
  hand_.file("pieces", many.size(), many);
  hand_.file("zeros", 10, {{kZeros, 6, 0, 0}, {kNowhere, 4, 0, 0}});
  const MountedDisc& disc = made();
  const std::string list = *disc.attribute(hand_.id("pieces"), "user.lacuna.extents");
  EXPECT_THAT(list, EndsWith("\n..."));
  EXPECT_LT(list.size(), 65536U);
  EXPECT_EQ(disc.attribute(hand_.id("zeros"), "user.lacuna.extents"), "zeros 6\nnowhere 4");
}

TEST_F(MountedDiscTest, TheRootTellsOfTheDisc) {
  hand_.file("a", 20, 10);
  hand_.file("b", 30, 10);
  const MountedDisc& disc = made();
  EXPECT_EQ(disc.attribute(kRoot, "user.lacuna.files"), "whole 1\nlost 1");
  EXPECT_EQ(disc.attribute(kRoot, "user.lacuna.image"), "harbour.iso");
  EXPECT_FALSE(disc.attribute(kRoot, "user.lacuna.basis"));
  EXPECT_THAT(disc.attribute_names(hand_.id("a")),
              ElementsAre("user.lacuna.state", "user.lacuna.basis", "user.lacuna.evidence", "user.lacuna.view",
                          "user.lacuna.path", "user.lacuna.missing_bytes", "user.lacuna.extents"));
}

}  // namespace
}  // namespace lacuna::tool
