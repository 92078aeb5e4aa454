// SPDX-License-Identifier: GPL-3.0-or-later
// lacuna combine with a failing drive as the last read: errors, silence, short answers, a disc that is gone, kill -9.
#include <fmt/format.h>
#include <signal.h>
#include <sys/stat.h>

#include <algorithm>

#include "cli/command.h"
#include "cli/flaky_drive.h"
#include "lacuna/sector_map.h"
#include "lacuna/states.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;

class FailingDrive : public MuseumDisc {
 protected:
  FailingDrive() : drive_(scratch_, scratch_ / "disc.iso") {
    disc_ = read_file(folder() / "museum.iso");
    write_file(scratch_ / "disc.iso", {std::string(disc_.begin(), disc_.end())});
    // The image that there is: every other stretch of 16 sectors is missing.
    auto bytes = disc_;
    std::string map;
    for (std::uint64_t lba = 32; lba + 16 < sectors(); lba += 32) {
      std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(lba * kSectorBytes), 16 * kSectorBytes, std::uint8_t{0});
      map += fmt::format("{} 16 bad\n", lba);
      missing_.push_back(lba);
    }
    write_file(scratch_ / "a.iso", {std::string(bytes.begin(), bytes.end())});
    write_file(scratch_ / "a.map", map);
  }

  std::uint64_t sectors() const { return disc_.size() / kSectorBytes; }
  std::string path(const std::string& name) const { return (scratch_ / name).string(); }
  std::vector<std::string> command(const std::vector<std::string>& more = {}) const {
    std::vector<std::string> words{LACUNA_COMMAND,
                                   "combine",
                                   "--to",
                                   path("out.iso"),
                                   path("a.iso") + ",map=" + path("a.map"),
                                   path("disc.iso") + ",drive=yes"};
    words.insert(words.end(), more.begin(), more.end());
    return words;
  }
  /// The result, but for sectors that the map calls bad or unread.
  void expect_right_but_for(const std::vector<std::uint64_t>& bad) const {
    const auto out = read_file(scratch_ / "out.iso");
    ASSERT_EQ(out.size(), disc_.size());
    const SectorMap map = *load_sector_map(scratch_ / "out.iso.map");
    for (std::uint64_t lba = 0; lba < sectors(); ++lba) {
      const bool is_bad = std::ranges::find(bad, lba) != bad.end();
      ASSERT_EQ(map.at(lba), is_bad ? SectorState::kBad : SectorState::kGood) << lba;
      const auto at = static_cast<std::ptrdiff_t>(lba * kSectorBytes);
      ASSERT_TRUE(is_bad || std::equal(out.begin() + at, out.begin() + at + kSectorBytes, disc_.begin() + at)) << lba;
    }
  }
  std::string bytes_of(const std::string& name) const {
    const auto bytes = read_file(scratch_ / name);
    return {bytes.begin(), bytes.end()};
  }
  void forget_result() const {
    for (const char* name : {"out.iso", "out.iso.map", "out.iso.reads.jsonl"}) std::filesystem::remove(scratch_ / name);
  }

  ScratchFolder scratch_;
  FlakyDrive drive_;
  std::vector<std::uint8_t> disc_;
  std::vector<std::uint64_t> missing_;  ///< First LBAs of 16.
};

TEST_F(FailingDrive, WhatItGivesIsTakenAndWhatItRefusesIsBad) {
  const std::uint64_t never = missing_[1] + 3, third = missing_[2] + 5, cut = missing_[3] + 1;
  drive_.set_script(fmt::format("{} 1 error\n{} 1 error 2\n{} 1 short 700\n", never, third, cut));
  const ProcessResult done = drive_.run(command());
  EXPECT_EQ(done.status, 1) << done.err;
  expect_right_but_for({never});
}

TEST_F(FailingDrive, OnlyWhatIsMissingIsAskedForAndNothingTwice) {
  drive_.set_script(fmt::format("{} 1 error\n", missing_[1] + 3));
  ASSERT_EQ(drive_.run(command()).status, 1);
  std::uint64_t probes = 0;
  for (const auto& [lba, times] : drive_.times_good()) {
    const std::uint64_t in_stretch = lba % 32;
    const bool was_missing = std::ranges::find(missing_, lba - in_stretch % 16) != missing_.end() && in_stretch < 16;
    EXPECT_LE(times, 1U) << lba;
    probes += was_missing ? 0 : 1;
  }
  // To see that it is the disc, and its descriptors.
  EXPECT_LE(probes, 64U + 4U);
}

TEST_F(FailingDrive, ASilentSectorCostsItsLimitAndNotTheWork) {
  drive_.set_script(fmt::format("{} 1 hang 700 2\n", missing_[1] + 3));
  const ProcessResult done = drive_.run(command({"--limit", "0.2"}));
  EXPECT_EQ(done.status, 0) << done.err << done.out;
  expect_right_but_for({});
}

TEST_F(FailingDrive, WhenTheDiscIsGoneTheSameCommandGoesOn) {
  drive_.set_script("gone 75\n");
  const ProcessResult stopped = drive_.run(command());
  EXPECT_EQ(stopped.status, 3);
  EXPECT_THAT(stopped.err, HasSubstr("goes on where it stopped"));
  EXPECT_FALSE(std::filesystem::exists(scratch_ / "out.iso"));
  drive_.set_script("");
  const ProcessResult done = drive_.run(command());
  EXPECT_EQ(done.status, 0) << done.err;
  expect_right_but_for({});
}

TEST_F(FailingDrive, ADiscThatIsGoneWhileItIsBeingRecognisedIsNotCalledAnother) {
  drive_.set_script("gone 5\n");
  const ProcessResult stopped = drive_.run(command());
  EXPECT_EQ(stopped.status, 3) << stopped.err;
  EXPECT_THAT(stopped.err, HasSubstr("see that the disc is in it"));
}

TEST_F(FailingDrive, KilledAnywhereItGoesOnAndGivesTheSameResult) {
  const std::string bad = fmt::format("{} 1 error\n{} 2 error\n", missing_[1] + 3, missing_[4]);
  drive_.set_script(bad);
  ASSERT_EQ(drive_.run(command()).status, 1);
  const std::string image = bytes_of("out.iso"), map = bytes_of("out.iso.map"),
                    record = bytes_of("out.iso.reads.jsonl");
  forget_result();
  drive_.set_script(fmt::format("0 {} hang 8\n", sectors()) + bad);
  unsigned killed = 0;
  for (int round = 0; round < 30; ++round) {
    int polls = 0;
    ProcessOptions options;
    options.meanwhile = [&](int pid) {
      if (++polls == 25 + round * 17) ::kill(pid, SIGKILL);
    };
    const ProcessResult done = drive_.run(command(), options);
    if (done.status != 137) {
      EXPECT_EQ(done.status, 1) << done.err;
      break;
    }
    ++killed;
    if (std::filesystem::exists(scratch_ / "out.iso")) break;  // Killed when only the clearing up was left.
  }
  // A busy machine may not get to the end before the last kill.
  if (!std::filesystem::exists(scratch_ / "out.iso")) {
    EXPECT_EQ(drive_.run(command()).status, 1);
  }
  EXPECT_GE(killed, 2U);
  RecordProperty("killed", std::to_string(killed));
  EXPECT_EQ(bytes_of("out.iso"), image);
  EXPECT_EQ(bytes_of("out.iso.map"), map);
  EXPECT_EQ(bytes_of("out.iso.reads.jsonl"), record);
}

// Killed between naming the map and naming the image.
TEST_F(FailingDrive, AMapOfTheKilledRunIsNotInTheWayAndAnyOtherIs) {
  drive_.set_script("gone 75\n");
  ASSERT_EQ(drive_.run(command()).status, 3);
  ASSERT_TRUE(std::filesystem::exists(scratch_ / "out.iso.drive-read"));
  drive_.set_script("");
  const std::string other = "# mine\n";
  write_file(scratch_ / "out.iso.map", other);
  const ProcessResult refused = drive_.run(command());
  EXPECT_EQ(refused.status, 4);
  EXPECT_THAT(refused.err, HasSubstr("out.iso.map: is already there"));
  EXPECT_EQ(bytes_of("out.iso.map"), other);
  EXPECT_FALSE(std::filesystem::exists(scratch_ / "out.iso"));
  ASSERT_TRUE(std::filesystem::exists(scratch_ / "out.iso.drive-read")) << "what the drive gave is kept";

  // A pipe of that name is not waited for.
  std::filesystem::remove(scratch_ / "out.iso.map");
  ASSERT_EQ(::mkfifo((scratch_ / "out.iso.map").c_str(), 0600), 0);
  EXPECT_EQ(drive_.run(command()).status, 4);
  ASSERT_TRUE(std::filesystem::exists(scratch_ / "out.iso.drive-read"));

  std::filesystem::remove(scratch_ / "out.iso.map");
  std::filesystem::copy(scratch_ / "out.iso.drive-read", scratch_ / "saved");
  std::filesystem::copy(scratch_ / "out.iso.drive-read.map", scratch_ / "saved.map");
  ASSERT_EQ(drive_.run(command()).status, 0);
  EXPECT_FALSE(std::filesystem::exists(scratch_ / "out.iso.drive-read"));
  const std::string map = bytes_of("out.iso.map");
  std::filesystem::remove(scratch_ / "out.iso");
  std::filesystem::rename(scratch_ / "saved", scratch_ / "out.iso.drive-read");
  std::filesystem::rename(scratch_ / "saved.map", scratch_ / "out.iso.drive-read.map");
  const ProcessResult done = drive_.run(command());
  EXPECT_EQ(done.status, 0) << done.err;
  EXPECT_EQ(bytes_of("out.iso.map"), map);
  expect_right_but_for({});
}

TEST_F(FailingDrive, CtrlCKeepsWhatTheDriveGave) {
  drive_.set_script(fmt::format("0 {} hang 8\n", sectors()));
  int polls = 0;
  ProcessOptions options;
  options.meanwhile = [&](int pid) {
    if (++polls == 250) ::kill(pid, SIGINT);
  };
  const ProcessResult stopped = drive_.run(command(), options);
  EXPECT_EQ(stopped.status, 130) << stopped.err;
  EXPECT_THAT(stopped.err, HasSubstr("the same command goes on from there"));
  EXPECT_TRUE(std::filesystem::exists(scratch_ / "out.iso.drive-read.map"));
  drive_.set_script("");
  EXPECT_EQ(drive_.run(command()).status, 0);
  expect_right_but_for({});
}

TEST_F(FailingDrive, WhatWasSavedOfAnotherDiscIsNotGoneOnWith) {
  drive_.set_script("gone 75\n");
  ASSERT_EQ(drive_.run(command()).status, 3);
  const std::string saved = bytes_of("out.iso.drive-read.map");
  // The same places are missing, of a disc of the same size whose first sectors are the same.
  auto other = disc_;
  for (std::size_t i = 30 * kSectorBytes; i < other.size(); ++i) other[i] ^= static_cast<std::uint8_t>(i * 13 + 5);
  write_file(scratch_ / "disc.iso", {std::string(other.begin(), other.end())});
  for (const std::uint64_t lba : missing_) {
    std::fill_n(other.begin() + static_cast<std::ptrdiff_t>(lba * kSectorBytes), 16 * kSectorBytes, std::uint8_t{0});
  }
  write_file(scratch_ / "a.iso", {std::string(other.begin(), other.end())});
  drive_.set_script("");
  const ProcessResult done = drive_.run(command());
  EXPECT_EQ(done.status, 2);
  EXPECT_THAT(done.err, HasSubstr("out.iso.drive-read is of another disc"));
  EXPECT_EQ(bytes_of("out.iso.drive-read.map"), saved);
}

TEST_F(FailingDrive, AnotherDiscInTheDriveIsRefused) {
  auto other = prose("another disc", disc_.size());
  write_file(scratch_ / "disc.iso", other);
  drive_.set_script("");
  const ProcessResult done = drive_.run(command());
  EXPECT_EQ(done.status, 2);
  EXPECT_THAT(done.err, HasSubstr("does not look like a read of the same disc"));
}

}  // namespace
}  // namespace lacuna::test
