// SPDX-License-Identifier: GPL-3.0-or-later
// Where a cue sheet places sectors: files whole, missing and short, gaps, sessions, and files of samples.
#include "media/track_layout.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "media/cue_layout.h"
#include "media/layout_helpers.h"
#include "media/memory_store.h"
#include "media/temp_folder.h"

namespace lacuna {
namespace {

using test::addressed_sectors;
using test::LaidOut;
using test::MemoryFolder;
using test::TempFolder;
using test::zero_sectors;
using testing::ElementsAre;
using testing::IsEmpty;

using ByteVector = std::vector<std::uint8_t>;

LaidOut lay_out(std::string_view text, const MemoryFolder& folder) {
  LaidOut x{Error{}, {}};
  const auto sheet = parse_cue_sheet(text, "x.cue", x.findings);
  if (sheet.ok()) {
    x.layout = place_cue_sheet(*sheet, "x.cue", folder.opener(), x.findings);
  } else {
    x.layout = sheet.error();
  }
  return x;
}

LaidOut read_cue(const std::filesystem::path& path) {
  LaidOut x{Error{}, {}};
  x.layout = read_cue_sheet(path, x.findings);
  return x;
}

TEST(CueLayout, OneFileWithAllTracks) {
  const LaidOut x = lay_out(
      "FILE \"a.bin\" BINARY\nTRACK 01 MODE1/2352\nINDEX 01 00:00:00\nTRACK 02 AUDIO\nTITLE \"T\"\nPERFORMER \"P\"\n"
      "ISRC I\nINDEX 00 00:10:00\nINDEX 01 00:12:00\nTRACK 03 AUDIO\nINDEX 01 00:14:00\nINDEX 02 00:15:00\n",
      MemoryFolder().add("a.bin", zero_sectors(1200)));
  EXPECT_THAT(x.found(), IsEmpty());
  EXPECT_THAT(x.runs(), ElementsAre("0+750 @0:0/2352", "750+450 @0:1764000/2352~"));
  EXPECT_THAT(x.tracks(), ElementsAre("1.1: 0+750 -0 a.bin", "2.1~: 900+150 -150 a.bin", "3.1~: 1050+150 -0 a.bin"));
  EXPECT_EQ(x.layout->tracks[1].title, "T");
  EXPECT_EQ(x.layout->tracks[1].performer, "P");
  EXPECT_EQ(x.layout->tracks[1].isrc, "I");
  EXPECT_EQ(x.layout->first_lba, 0U);
  EXPECT_EQ(x.layout->end_lba, 1200U);
}

TEST(CueLayout, OneFileATrackAndIndexZeroInTheFileBefore) {
  const LaidOut x = lay_out(
      "FILE 1.bin BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nTRACK 02 AUDIO\nINDEX 00 00:01:00\nFILE 2.bin BINARY\n"
      "INDEX 01 00:00:00\nFILE 3.bin BINARY\nTRACK 03 AUDIO\nINDEX 00 00:00:00\nINDEX 01 00:00:10\n",
      MemoryFolder().add("1.bin", zero_sectors(100)).add("2.bin", zero_sectors(50)).add("3.bin", zero_sectors(30)));
  EXPECT_THAT(x.found(), IsEmpty());
  EXPECT_THAT(x.runs(), ElementsAre("0+100 @0:0/2352~", "100+50 @1:0/2352~", "150+30 @2:0/2352~"));
  EXPECT_THAT(x.tracks(), ElementsAre("1.1~: 0+75 -0 1.bin", "2.1~: 100+50 -25 2.bin", "3.1~: 160+20 -10 3.bin"));
}

TEST(CueLayout, GapsThatNoFileHas) {
  const LaidOut x = lay_out(
      "FILE a BINARY\nTRACK 01 MODE1/2048\nINDEX 01 00:00:00\nPOSTGAP 00:01:00\nTRACK 02 AUDIO\nPREGAP 00:02:00\n"
      "INDEX 00 00:00:20\nINDEX 01 00:00:30\n",
      MemoryFolder().add("a", ByteVector(20 * 2048 + 40 * 2352)));
  EXPECT_THAT(x.found(), IsEmpty());
  EXPECT_THAT(x.runs(), ElementsAre("0+20 @0:0/2048", "245+40 @0:40960/2352~"));
  EXPECT_THAT(x.tracks(), ElementsAre("1.1: 0+95 -0 a", "2.1~: 255+30 -160 a"));
}

TEST(CueLayout, FirstTracksPregapHoldsThePauseBeforeTheDiscsFirstSector) {
  const MemoryFolder folder = MemoryFolder().add("a", zero_sectors(300));
  const auto with = [&](std::string lines) {
    return lay_out("FILE a BINARY\nTRACK 01 AUDIO\n" + std::move(lines), folder).tracks();
  };
  EXPECT_THAT(with("PREGAP 00:02:00\nINDEX 01 00:00:00\n"), ElementsAre("1.1~: 0+300 -0 a"));
  EXPECT_THAT(with("PREGAP 00:03:00\nINDEX 01 00:00:00\n"), ElementsAre("1.1~: 75+300 -75 a"));
  EXPECT_THAT(with("INDEX 00 00:00:00\nINDEX 01 00:01:00\n"), ElementsAre("1.1~: 75+225 -75 a"));
  EXPECT_THAT(with("INDEX 01 00:01:00\n"), ElementsAre("1.1~: 75+225 -75 a"));
}

TEST(CueLayout, SectorsOfDifferentSizesInOneFile) {
  const LaidOut x = lay_out(
      "FILE a BINARY\nTRACK 01 MODE1/2048\nINDEX 01 00:00:00\nTRACK 02 MODE2/2336\nINDEX 01 00:00:10\n"
      "TRACK 03 CDG\nINDEX 01 00:00:15\nTRACK 04 AUDIO\nINDEX 01 00:00:16\n",
      MemoryFolder().add("a", ByteVector(10 * 2048 + 5 * 2336 + 2448 + 3 * 2352)));
  EXPECT_THAT(x.found(), IsEmpty());
  EXPECT_THAT(x.runs(),
              ElementsAre("0+10 @0:0/2048", "10+5 @0:20480/2336", "15+1 @0:32160/2448~", "16+3 @0:34608/2352~"));
}

TEST(CueLayout, MotorolaFilesHaveTheirSamplesSwappedAndTheirDataNot) {
  const LaidOut x =
      lay_out("FILE a MOTOROLA\nTRACK 01 MODE1/2352\nINDEX 01 00:00:00\nTRACK 02 AUDIO\nINDEX 01 00:00:04\n",
              MemoryFolder().add("a", zero_sectors(9)));
  EXPECT_THAT(x.runs(), ElementsAre("0+4 @0:0/2352", "4+5 @0:9408/2352~^"));
}

constexpr std::string_view kThreeFiles =
    "FILE 1 BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nFILE 2 BINARY\nTRACK 02 AUDIO\nINDEX 01 00:00:00\n"
    "TRACK 03 AUDIO\nINDEX 01 00:00:10\nFILE 3 BINARY\nTRACK 04 MODE1/2352\nINDEX 01 00:00:00\n";

TEST(CueLayout, DataBehindAMissingFileIsPlacedByItsAddresses) {
  const LaidOut x = lay_out(kThreeFiles, MemoryFolder().add("1", zero_sectors(20)).add("3", addressed_sectors(45, 8)));
  EXPECT_THAT(x.runs(), ElementsAre("0+20 @0:0/2352~", "45+8 @1:0/2352"));
  EXPECT_THAT(x.tracks(), ElementsAre("1.1~: 0+20 -0 1", "2.1~: 20+10 -0 2", "3.1~: 30+15 -0 2", "4.1: 45+8 -0 3"));
  EXPECT_THAT(x.found(),
              ElementsAre("layout-file-missing 2: (line 4, from track 2 on) is missing; its sectors are absent",
                          "layout-place 3: begins track 4 at LBA 45 by the addresses of its sectors; by the sheet it "
                          "would be 30"));
}

TEST(CueLayout, WithoutAddressesDataBehindAMissingFileIsAbsent) {
  const LaidOut x = lay_out(kThreeFiles, MemoryFolder().add("1", zero_sectors(20)).add("3", zero_sectors(8)));
  EXPECT_THAT(x.runs(), ElementsAre("0+20 @0:0/2352~"));
  EXPECT_THAT(x.found(), ElementsAre(testing::HasSubstr("is missing"),
                                     "layout-place 3: begins track 4 at LBA 30 or later, as how long a file before it "
                                     "was is not known; without a certain place its data is absent"));
  EXPECT_EQ(x.findings.list()[1].severity, Severity::kLoss);
}

TEST(CueLayout, SoundBehindAMissingFileIsPlacedAtTheLeastWithADoubt) {
  const LaidOut x = lay_out(
      "FILE 1 BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nTRACK 02 AUDIO\nINDEX 01 00:00:30\nFILE 2 BINARY\n"
      "TRACK 03 AUDIO\nINDEX 01 00:00:00\n",
      MemoryFolder().add("2", zero_sectors(8)));
  EXPECT_THAT(x.runs(), ElementsAre("30+8 @0:0/2352~"));
  EXPECT_THAT(x.tracks(), ElementsAre("1.1~: 0+30 -0 1", "2.1~: 30+0 -0 1", "3.1~: 30+8 -0 2"));
  ASSERT_EQ(x.findings.list().size(), 2U);
  EXPECT_EQ(x.findings.list()[1].severity, Severity::kDoubt);
}

TEST(CueLayout, ShortFileLeavesTheRestAbsent) {
  const std::string sheet =
      "FILE a BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nTRACK 02 AUDIO\nINDEX 01 00:00:30\nTRACK 03 AUDIO\n"
      "INDEX 01 00:00:40\n";
  const LaidOut x = lay_out(sheet, MemoryFolder().add("a", zero_sectors(25)));
  EXPECT_THAT(x.runs(), ElementsAre("0+25 @0:0/2352~"));
  EXPECT_THAT(x.tracks(), ElementsAre("1.1~: 0+30 -0 a", "2.1~: 30+10 -0 a", "3.1~: 40+0 -0 a"));
  EXPECT_THAT(x.found(), ElementsAre("layout-file-short a: ends 5 sectors before a later index in it; what is missing "
                                     "is absent"));
  const LaidOut at_index = lay_out(sheet, MemoryFolder().add("a", zero_sectors(40)));
  EXPECT_THAT(at_index.found(),
              ElementsAre("layout-file-short a: ends where its last index begins; nothing is there of track 3"));
  EXPECT_EQ(at_index.layout->end_lba, 40U);
}

TEST(CueLayout, CutSectorIsAbsentAndKeepsItsPlace) {
  ByteVector bytes = zero_sectors(10);
  bytes.resize(bytes.size() - 1);
  const LaidOut x = lay_out(
      "FILE a BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nFILE b BINARY\nTRACK 02 AUDIO\n"
      "INDEX 01 00:00:00\n",
      MemoryFolder().add("a", bytes).add("b", zero_sectors(1)));
  EXPECT_THAT(x.runs(), ElementsAre("0+9 @0:0/2352~", "10+1 @1:0/2352~"));
  EXPECT_THAT(x.found(), ElementsAre("layout-file-odd a: ends in a sector, of which it has 2351 bytes of 2352; the "
                                     "sector is absent"));
}

TEST(CueLayout, CutFileIsSeenByTheAddressesBehindIt) {
  // The second file says that the first once was longer.
  const LaidOut x = lay_out(
      "FILE a BINARY\nTRACK 01 MODE1/2352\nINDEX 01 00:00:00\nFILE b BINARY\nTRACK 02 MODE1/2352\nINDEX 01 00:00:00\n",
      MemoryFolder().add("a", addressed_sectors(0, 10)).add("b", addressed_sectors(12, 5)));
  EXPECT_THAT(x.runs(), ElementsAre("0+10 @0:0/2352", "12+5 @1:0/2352"));
  ASSERT_EQ(x.findings.list().size(), 1U);
  EXPECT_EQ(x.findings.list()[0].severity, Severity::kDoubt);
}

TEST(CueLayout, AddressesWhereOthersAreDoNotMoveATrack) {
  const LaidOut x = lay_out(
      "FILE a BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nFILE b BINARY\nTRACK 02 MODE1/2352\nINDEX 01 00:00:00\n",
      MemoryFolder().add("a", zero_sectors(10)).add("b", addressed_sectors(3, 5)));
  EXPECT_THAT(x.runs(), ElementsAre("0+10 @0:0/2352~", "10+5 @1:0/2352"));
  EXPECT_THAT(x.found(), ElementsAre("layout-place b: begins track 2 at LBA 3 by the addresses of its sectors, where "
                                     "other tracks are; it stays at 10"));
}

TEST(CueLayout, OneAddressAloneMovesNothing) {
  ByteVector b = addressed_sectors(50, 3);
  std::fill(b.begin() + kRawSectorBytes, b.end(), std::uint8_t{0});
  const LaidOut x = lay_out(
      "FILE a BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nFILE b BINARY\nTRACK 02 MODE1/2352\nINDEX 01 00:00:00\n",
      MemoryFolder().add("a", zero_sectors(10)).add("b", b));
  EXPECT_THAT(x.runs(), ElementsAre("0+10 @0:0/2352~", "10+3 @1:0/2352"));
}

TEST(CueLayout, FileWithoutATrackIsPassedOver) {
  const LaidOut x = lay_out("FILE u BINARY\nFILE a BINARY\nTRACK 01 MODE1/2352\nINDEX 01 00:00:00\n",
                            MemoryFolder().add("u", zero_sectors(4)).add("a", addressed_sectors(70, 3)));
  EXPECT_THAT(x.runs(), ElementsAre("0+3 @0:0/2352"));
  EXPECT_THAT(x.found(), ElementsAre("layout-file-unused u: (line 1) has no index of any track; it was passed over"));
}

// What lies between sessions: multi-session practice, from memory.
TEST(CueLayout, SessionsLieApart) {
  const std::string sheet =
      "REM SESSION 01\nFILE a BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nREM SESSION 02\nFILE b BINARY\n"
      "TRACK 02 MODE2/2352\nINDEX 00 00:00:00\nINDEX 01 00:00:05\nREM SESSION 03\nTRACK 03 MODE1/2352\n"
      "INDEX 01 00:00:15\n";
  const LaidOut x = lay_out(sheet, MemoryFolder().add("a", zero_sectors(100)).add("b", zero_sectors(20)));
  EXPECT_THAT(x.runs(), ElementsAre("0+100 @0:0/2352~", "11495+15 @1:0/2352", "18410+5 @1:35280/2352"));
  EXPECT_THAT(x.tracks(), ElementsAre("1.1~: 0+100 -0 a", "2.2: 11500+10 -5 b", "3.3: 18410+5 -0 b"));
  EXPECT_THAT(x.found(),
              ElementsAre("layout-place b: begins session 2 at LBA 11495, by the usual length of what lies between "
                          "sessions",
                          "layout-place b: begins session 3 at LBA 18410, by the usual length of what lies between "
                          "sessions"));
  // Addresses know better.
  ByteVector b = addressed_sectors(9000, 15);
  const ByteVector third = addressed_sectors(16000, 5);
  b.insert(b.end(), third.begin(), third.end());
  const LaidOut y = lay_out(sheet, MemoryFolder().add("a", zero_sectors(100)).add("b", b));
  EXPECT_THAT(y.tracks(), ElementsAre("1.1~: 0+100 -0 a", "2.2: 9005+10 -5 b", "3.3: 16000+5 -0 b"));
  EXPECT_THAT(y.runs(), ElementsAre("0+100 @0:0/2352~", "9000+15 @1:0/2352", "16000+5 @1:35280/2352"));
}

TEST(CueLayout, UnreadKindsOfFilesKeepTheirTracks) {
  const LaidOut x = lay_out("FILE a.mp3 MP3\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nTRACK 02 AUDIO\nINDEX 01 00:01:00\n",
                            MemoryFolder().add("a.mp3", zero_sectors(4)));
  EXPECT_THAT(x.runs(), IsEmpty());
  EXPECT_THAT(x.tracks(), ElementsAre("1.1~: 0+75 -0 a.mp3", "2.1~: 75+0 -0 a.mp3"));
  EXPECT_THAT(x.found(), ElementsAre("layout-file-kind a.mp3: (line 1, from track 1 on) is of the kind 'MP3', which is "
                                     "not read; its sectors are absent"));
}

TEST(CueLayout, WhatNoDiscCanHoldIsRefused) {
  const LaidOut x = lay_out(
      "FILE a BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nTRACK 02 AUDIO\nPREGAP 900000:00:00\nINDEX 01 00:00:01\n"
      "TRACK 03 AUDIO\nPREGAP 900000:00:00\nINDEX 01 00:00:02\n",
      MemoryFolder().add("a", zero_sectors(4)));
  EXPECT_EQ(x.message(), "'x.cue' places sectors beyond the 4294967296 that a disc can have");
}

// --- files in a folder

TEST(CueFolder, FilesAreFoundByTheLastComponentWithoutRegardToCase) {
  const TempFolder folder;
  folder.write("Disc.BIN", zero_sectors(3));
  for (const char* name : {"disc.bin", "Disc.BIN", "C:\\\\images\\\\DISC.bin", "/etc/../disc.BIN", "../../disc.bin"}) {
    const auto sheet =
        folder.write("a.cue", "FILE \"" + std::string(name) + "\" BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\n");
    const LaidOut x = read_cue(sheet);
    EXPECT_THAT(x.runs(), ElementsAre("0+3 @0:0/2352~")) << name;
  }
}

TEST(CueFolder, NothingIsTakenFromAnotherFolder) {
  const TempFolder folder;
  std::filesystem::create_directories(folder / "inner");
  folder.write("disc.bin", zero_sectors(3));
  const auto sheet = folder.write("inner/a.cue", "FILE \"../disc.bin\" BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\n");
  const LaidOut x = read_cue(sheet);
  EXPECT_THAT(x.runs(), IsEmpty());
  EXPECT_THAT(x.found(), ElementsAre("layout-file-missing disc.bin: (line 1, from track 1 on) is missing; its sectors "
                                     "are absent"));
}

TEST(CueFolder, ExactNameComesFirstAndSeveralOthersAreADoubt) {
  const TempFolder folder;
  folder.write("A.bin", zero_sectors(1));
  folder.write("a.BIN", zero_sectors(2));
  const auto with = [&](const std::string& name) {
    return read_cue(folder.write("x.cue", "FILE " + name + " BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\n"));
  };
  EXPECT_THAT(with("a.BIN").runs(), ElementsAre("0+2 @0:0/2352~"));
  const LaidOut x = with("a.bin");
  EXPECT_THAT(x.runs(), IsEmpty());
  EXPECT_THAT(x.found(),
              ElementsAre("layout-file-missing a.bin: (line 1, from track 1 on) could be 'A.bin' or "
                          "'a.BIN', so that neither was taken; rename the one that is meant; its sectors are "
                          "absent"));
}

TEST(CueFolder, NamesInLatin1MeanFilesInUtf8) {
  const TempFolder folder;
  folder.write("\xC3\xA9.bin", zero_sectors(2));
  const LaidOut x = read_cue(folder.write("x.cue", "FILE \"\xE9.BIN\" BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\n"));
  EXPECT_THAT(x.runs(), ElementsAre("0+2 @0:0/2352~"));
  EXPECT_EQ(x.layout->tracks[0].file, "é.BIN");
}

TEST(CueFolder, LinksAreFollowedAndWhatIsNoFileIsTold) {
  const TempFolder folder, elsewhere;
  elsewhere.write("real.bin", zero_sectors(2));
  ASSERT_EQ(::symlink((elsewhere / "real.bin").c_str(), (folder / "a.bin").c_str()), 0);
  std::filesystem::create_directories(folder / "b.bin");
  const auto with = [&](const std::string& name) {
    return read_cue(folder.write("x.cue", "FILE " + name + " BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\n"));
  };
  EXPECT_THAT(with("a.bin").runs(), ElementsAre("0+2 @0:0/2352~"));
  EXPECT_THAT(with("b.bin").found(), ElementsAre(testing::HasSubstr("is a directory")));
}

TEST(CueFolder, TwoNamesOfOneFileAreRefused) {
  const TempFolder folder;
  folder.write("a.bin", zero_sectors(2));
  const LaidOut x = read_cue(folder.write("x.cue",
                                          "FILE a.bin BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nFILE A.BIN BINARY\n"
                                          "TRACK 02 AUDIO\nINDEX 01 00:00:00\n"));
  EXPECT_EQ(x.message(), (folder / "x.cue").string() + ":4: names a file that stands for other tracks already");
  EXPECT_EQ(x.layout.error().code, ErrorCode::kBadInput);
}

TEST(CueFolder, SheetThatCanNotBeRead) {
  const TempFolder folder;
  const LaidOut x = read_cue(folder / "none.cue");
  ASSERT_FALSE(x.layout.ok());
  EXPECT_EQ(x.layout.error().code, ErrorCode::kNotReadable);
}

}  // namespace
}  // namespace lacuna
