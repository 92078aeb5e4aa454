// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/drive_passes.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>
#include <set>

#include "media/temp_folder.h"
#include "support/memory_image.h"

namespace lacuna {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;

/// A drive that fails where it is told to, and counts what it is asked.
struct FakeDrive {
  std::uint64_t sectors = 2000;
  std::map<std::uint64_t, unsigned> fails_so_often;  ///< Then gives the sector.
  std::map<std::uint64_t, unsigned> asked;
  std::vector<Range> requests;
  std::optional<std::size_t> dies_after;  ///< Requests.

  AskDrive ask() {
    return [this](std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) -> Result<Done> {
      if (dies_after && requests.size() >= *dies_after) return Error{ErrorCode::kNotReadable, "the drive is gone"};
      requests.push_back({lba, lba + states.size()});
      bool fails = false;
      for (std::size_t i = 0; i < states.size(); ++i) {
        ++asked[lba + i];
        const auto at = fails_so_often.find(lba + i);
        if (at == fails_so_often.end() || at->second == 0) continue;
        --at->second;
        fails = true;
      }
      std::ranges::fill(states, fails ? SectorState::kBad : SectorState::kGood);
      for (std::size_t i = 0; i < states.size() && !fails; ++i) {
        std::ranges::copy(test::numbered_sector(lba + i), out.subspan(i * kSectorBytes).begin());
      }
      return Done{};
    };
  }
};

class DrivePassesTest : public ::testing::Test {
 protected:
  DriveRead open(std::uint64_t sectors = 2000) {
    Result<Directory> folder = open_folder(folder_.path(), FolderUse::kWrite);
    return std::move(DriveRead::open(*folder, "out.iso", sectors)).value();
  }
  /// Sectors of what was saved that are good, and are the disc's.
  static std::uint64_t right(DriveRead& read) {
    const auto image = std::move(read.image()).value();
    std::uint64_t count = 0;
    std::vector<std::uint8_t> sector(kSectorBytes);
    for (std::uint64_t lba = 0; lba < image->end_lba(); ++lba) {
      SectorState state = SectorState::kAbsent;
      image->read(lba, sector, {&state, 1});
      if (state != SectorState::kGood) continue;
      EXPECT_EQ(sector, test::numbered_sector(lba));
      ++count;
    }
    return count;
  }
  std::string map() const {
    const auto bytes = test::read_file(folder_ / "out.iso.drive-read.map");
    return {bytes.begin(), bytes.end()};
  }

  test::TempFolder folder_;
};

TEST_F(DrivePassesTest, AGoodDiscIsReadOnceInLargeRequestsInTheOrderGiven) {
  FakeDrive drive;
  DriveRead read = open();
  const std::vector<Range> order{{512, 640}, {0, 128}};
  const Result<DriveWork> work = read_from_drive({drive.ask()}, read, order, {});
  ASSERT_TRUE(work);
  EXPECT_THAT(drive.requests, ElementsAre(Range{512, 576}, Range{576, 640}, Range{0, 64}, Range{64, 128}));
  EXPECT_EQ(work->sectors, 256U);
  EXPECT_EQ(right(read), 256U);
}

TEST_F(DrivePassesTest, EverySectorThatCanBeHadIsHad) {
  FakeDrive drive;
  for (std::uint64_t lba = 700; lba < 900; ++lba) drive.fails_so_often[lba] = 1000;
  for (const std::uint64_t lba : {3U, 64U, 1500U, 1999U}) drive.fails_so_often[lba] = 1000;
  DriveRead read = open();
  ASSERT_TRUE(read_from_drive({drive.ask()}, read, std::vector<Range>{{0, 2000}}, {}));
  EXPECT_EQ(right(read), 2000U - 204);
  EXPECT_TRUE(read.good().contains(699));
  EXPECT_TRUE(read.good().contains(900));
  EXPECT_FALSE(read.good().contains(700));
}

TEST_F(DrivePassesTest, MuchIsHadBeforeTheWorstPlaceIsAskedSectorBySector) {
  FakeDrive drive;
  for (std::uint64_t lba = 200; lba < 400; ++lba) drive.fails_so_often[lba] = 1000;
  DriveRead read = open();
  ASSERT_TRUE(read_from_drive({drive.ask()}, read, std::vector<Range>{{0, 2000}}, {}));
  std::uint64_t failed_before = 0;
  for (const Range& r : drive.requests) {
    if (r.end == 2000) break;
    if (r.first < 400 && r.end > 200) ++failed_before;
  }
  EXPECT_LE(failed_before, 3U);
}

TEST_F(DrivePassesTest, ASectorIsTriedSoOftenAsAllowedAndNoMore) {
  FakeDrive drive;
  drive.fails_so_often[100] = 3;  // one of them in the request of many
  drive.fails_so_often[101] = 1000;
  DriveRead read = open();
  ASSERT_TRUE(read_from_drive({drive.ask()}, read, std::vector<Range>{{0, 256}}, {3, 16, {}}));
  EXPECT_TRUE(read.good().contains(100));
  EXPECT_FALSE(read.good().contains(101));
  EXPECT_EQ(drive.asked[101], 4U);
  EXPECT_EQ(read.tries(101), 3U);
}

TEST_F(DrivePassesTest, AfterEachKindOfStopTheRestIsReadAndNothingTwice) {
  for (std::size_t stop = 4; stop < 40; stop += 3) {
    FakeDrive drive;
    for (const std::uint64_t lba : {3U, 64U, 65U, 300U, 1500U}) drive.fails_so_often[lba] = 1000;
    const std::vector<Range> order{{0, 2000}};
    {
      DriveRead read = open();
      drive.dies_after = stop;
      const Result<DriveWork> work = read_from_drive({drive.ask()}, read, order, {});
      ASSERT_FALSE(work);
      EXPECT_EQ(work.error().code, ErrorCode::kNotReadable);
    }
    drive.dies_after.reset();
    {
      DriveRead read = open();
      EXPECT_TRUE(read.resumed());
      ASSERT_TRUE(read_from_drive({drive.ask()}, read, order, {}));
      EXPECT_EQ(right(read), 1995U);
      read.remove();
    }
    // Neighbours of a bad one are in requests that fail; all others are asked for once.
    EXPECT_EQ(drive.asked[1000], 1U);
    EXPECT_LE(drive.asked[64], 3U + 2U);
  }
}

TEST_F(DrivePassesTest, ALineThatWasCutIsForgottenAndItsSectorsAreReadAgain) {
  FakeDrive drive;
  {
    DriveRead read = open();
    ASSERT_TRUE(read_from_drive({drive.ask()}, read, std::vector<Range>{{0, 128}}, {}));
  }
  const std::string whole = map();
  ASSERT_THAT(whole, HasSubstr("64 64 good\n"));
  folder_.write("out.iso.drive-read.map", whole.substr(0, whole.size() - 4));
  DriveRead read = open();
  EXPECT_EQ(read.good().total(), 64U);
  ASSERT_TRUE(read_from_drive({drive.ask()}, read, std::vector<Range>{{0, 128}}, {}));
  EXPECT_EQ(map(), whole);
}

TEST_F(DrivePassesTest, WhatComesLateIsTaken) {
  FakeDrive drive;
  drive.fails_so_often[100] = 1000;
  bool given = false;
  const CollectLate late = [&]() -> std::optional<LateSectors> {
    if (given || !drive.asked.contains(100)) return std::nullopt;
    given = true;
    return LateSectors{100, test::numbered_sector(100)};
  };
  DriveRead read = open();
  ASSERT_TRUE(read_from_drive({drive.ask(), late}, read, std::vector<Range>{{0, 128}}, {}));
  EXPECT_EQ(right(read), 128U);
  EXPECT_EQ(drive.asked[100], 1U);
}

TEST_F(DrivePassesTest, OneFileOfTheTwoIsAnError) {
  folder_.write("out.iso.drive-read", "bytes");
  Result<Directory> folder = open_folder(folder_.path(), FolderUse::kWrite);
  const Result<DriveRead> read = DriveRead::open(*folder, "out.iso", 2000);
  ASSERT_FALSE(read);
  EXPECT_EQ(read.error().code, ErrorCode::kBadInput);
}

TEST_F(DrivePassesTest, SavedWorkOfALargerDiscIsAnError) {
  FakeDrive drive;
  {
    DriveRead read = open();
    ASSERT_TRUE(read_from_drive({drive.ask()}, read, std::vector<Range>{{1900, 2000}}, {}));
  }
  Result<Directory> folder = open_folder(folder_.path(), FolderUse::kWrite);
  const Result<DriveRead> read = DriveRead::open(*folder, "out.iso", 500);
  ASSERT_FALSE(read);
  EXPECT_THAT(read.error().message, HasSubstr("another disc"));
}

TEST_F(DrivePassesTest, AMapThatIsNoneIsAnErrorAndIsKept) {
  folder_.write("out.iso.drive-read", "bytes");
  const std::string mine = std::string(200, 'x') + "\nmine\n";
  folder_.write("out.iso.drive-read.map", mine);
  Result<Directory> folder = open_folder(folder_.path(), FolderUse::kWrite);
  const Result<DriveRead> read = DriveRead::open(*folder, "out.iso", 2000);
  ASSERT_FALSE(read);
  EXPECT_EQ(map(), mine);
}

TEST_F(DrivePassesTest, CancelledItKeepsWhatItHas) {
  FakeDrive drive;
  {
    DriveRead read = open();
    int calls = 0;
    const DrivePasses passes{3, 16, [&](const Progress&) { return ++calls < 5; }};
    const Result<DriveWork> work = read_from_drive({drive.ask()}, read, std::vector<Range>{{0, 2000}}, passes);
    ASSERT_FALSE(work);
    EXPECT_EQ(work.error().code, ErrorCode::kCancelled);
  }
  EXPECT_EQ(open().good().total(), 5 * 64U);
}

}  // namespace
}  // namespace lacuna
