// SPDX-License-Identifier: GPL-3.0-or-later
// The stand-in for a failing drive, read by dd and cat.
#include "cli/flaky_drive.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cerrno>

#include "cli/command.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::Pair;

constexpr std::uint64_t kDiscSectors = 40;

class FlakyDriveTest : public ::testing::Test {
 protected:
  void SetUp() override {
    for (std::size_t i = 0; i < kDiscSectors * 2048; ++i) text.push_back(static_cast<char>('a' + (i / 2048 + i) % 26));
    write_file(folder / "disc.iso", text);
  }

  ProcessResult dd(const std::string& options) const {
    return drive.run({"/bin/dd", "if=" + (folder / "disc.iso").string(), "bs=2048", "status=none", options});
  }
  std::string sectors(std::uint64_t first, std::uint64_t count) const {
    return text.substr(first * 2048, count * 2048);
  }

  ScratchFolder folder;
  FlakyDrive drive{folder, folder / "disc.iso"};
  std::string text;
};

TEST_F(FlakyDriveTest, WithoutRulesAllIsReadOnceAndOtherFilesGoThrough) {
  write_file(folder / "other.txt", "another file");
  const ProcessResult r = drive.run({"/bin/cat", (folder / "disc.iso").string(), (folder / "other.txt").string()});
  EXPECT_EQ(r.status, 0) << r.err;
  EXPECT_EQ(r.out, text + "another file");
  const auto times = drive.times_good();
  EXPECT_EQ(times.size(), kDiscSectors);
  EXPECT_TRUE(std::ranges::all_of(times, [](const auto& t) { return t.second == 1; }));
}

TEST_F(FlakyDriveTest, AnErrorForGood) {
  drive.set_script("# scratched\n3 1 error\n");
  for (int run = 0; run < 2; ++run) {
    const ProcessResult r = dd("count=10");
    EXPECT_EQ(r.status, 1);
    EXPECT_EQ(r.out, sectors(0, 3));
    EXPECT_THAT(r.err, HasSubstr("Input/output error"));
  }
  EXPECT_THAT(drive.times_good(), ElementsAre(Pair(0, 2U), Pair(1, 2U), Pair(2, 2U)));
  EXPECT_EQ(drive.times_tried().at(3), 2U);
}

TEST_F(FlakyDriveTest, AnErrorAtTheFirstTriesOverSeveralRuns) {
  drive.set_script("3 1 error 2\n");
  EXPECT_EQ(dd("count=4").status, 1);
  EXPECT_EQ(dd("count=4").status, 1);
  const ProcessResult r = dd("count=4");
  EXPECT_EQ(r.status, 0) << r.err;
  EXPECT_EQ(r.out, sectors(0, 4));
  EXPECT_EQ(drive.times_good().at(3), 1U);
}

TEST_F(FlakyDriveTest, ARequestEndsBeforeTheSectorThatFailsOrFailsAsAWhole) {
  const std::string path = (folder / "disc.iso").string();
  drive.set_script("5 1 error\n");
  const ProcessResult part = drive.run({"/bin/dd", "if=" + path, "bs=16384", "count=1", "status=none"});
  EXPECT_EQ(part.out, sectors(0, 5));
  drive.set_script("whole\n5 1 error\n");
  const ProcessResult none = drive.run({"/bin/dd", "if=" + path, "bs=16384", "count=1", "status=none"});
  EXPECT_EQ(none.out, "");
  ASSERT_EQ(drive.requests().size(), 2U);
  EXPECT_EQ(drive.requests()[0].good, 5U);
  EXPECT_EQ(drive.requests()[1].error, EIO);
}

TEST_F(FlakyDriveTest, GarbageWithoutAnErrorIsTheSameEachTime) {
  drive.set_script("seed 7\n2 2 garbage\n");
  const ProcessResult first = dd("count=6"), second = dd("count=6");
  EXPECT_EQ(first.status, 0);
  EXPECT_EQ(first.out, second.out);
  EXPECT_EQ(first.out.substr(0, 4096), sectors(0, 2));
  EXPECT_EQ(first.out.substr(4 * 2048), sectors(4, 2));
  for (std::size_t i = 2 * 2048; i < 4 * 2048; ++i) EXPECT_NE(first.out[i], text[i]);
}

TEST_F(FlakyDriveTest, ShortReads) {
  drive.set_script("0 40 short 700\n");
  const ProcessResult r = drive.run({"/bin/cat", (folder / "disc.iso").string()});
  EXPECT_EQ(r.status, 0);
  EXPECT_EQ(r.out, text);
}

TEST_F(FlakyDriveTest, HangsAndGoesOn) {
  drive.set_script("4 1 hang 20 1\n");
  EXPECT_EQ(dd("count=6").out, sectors(0, 6));
}

TEST_F(FlakyDriveTest, ForTheCommandItself) {
  write_file(folder / "tree/letter.txt", prose("A letter", 5000));
  const auto bytes = genisoimage(folder / "tree", "-R");
  write_file(folder / "disc.iso", std::string(bytes.begin(), bytes.end()));
  const std::vector<std::string> files{LACUNA_COMMAND, "files", (folder / "disc.iso").string()};
  EXPECT_EQ(drive.run(files).status, 0);
  drive.set_script("0 100000 error\n");
  EXPECT_NE(drive.run(files).status, 0);
  EXPECT_TRUE(std::ranges::any_of(drive.requests(), [](const auto& r) { return r.error == EIO; }));
}

TEST_F(FlakyDriveTest, ChanceIsDecidedByTheSeed) {
  drive.set_script("seed 3\n0 40 chance 50\n");
  for (int run = 0; run < 40; ++run) dd("count=1");
  const auto good = drive.times_good().at(0);
  EXPECT_GT(good, 8U);
  EXPECT_LT(good, 32U);
  EXPECT_EQ(drive.times_tried().at(0), 40U);
}

TEST_F(FlakyDriveTest, TheDiscIsGone) {
  drive.set_script("gone 3\n");
  const ProcessResult r = dd("count=10");
  EXPECT_EQ(r.status, 1);
  EXPECT_EQ(r.out, sectors(0, 3));
  EXPECT_THAT(r.err, HasSubstr("No medium found"));
}

TEST_F(FlakyDriveTest, AScriptThatCantBeMadeOutEndsTheProgram) {
  drive.set_script("3 1 explode\n");
  const ProcessResult r = dd("count=1");
  EXPECT_EQ(r.status, 125);
  EXPECT_THAT(r.err, HasSubstr("can't make out: 3 1 explode"));
}

}  // namespace
}  // namespace lacuna::test
