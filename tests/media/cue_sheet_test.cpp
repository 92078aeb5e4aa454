// SPDX-License-Identifier: GPL-3.0-or-later
// The words of cue sheets, and what is refused.
#include "media/cue_sheet.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace lacuna {
namespace {

using testing::ElementsAre;
using Holds = UnitLayout::Holds;

struct Parsed {
  Result<CueSheet> sheet;
  Findings findings;
  std::string message() const { return sheet.ok() ? "parsed" : sheet.error().message; }
};

Parsed parse(std::string_view text) {
  Findings findings;
  auto sheet = parse_cue_sheet(text, "x.cue", findings);
  return {std::move(sheet), std::move(findings)};
}

constexpr std::string_view kOneTrack = "FILE \"a.bin\" BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\n";

TEST(CueSheet, AllWordsAreUnderstood) {
  const Parsed x = parse(
      "REM GENRE any\r\nCATALOG 1234567890123\r\nCDTEXTFILE \"disc.cdt\"\r\nTITLE \"A disc\"\r\nPERFORMER \"All\"\r\n"
      "SONGWRITER Someone Else\r\n\r\nFILE \"dir/a b.bin\" BINARY\r\n\tTRACK 01 MODE1/2352\r\n\t\tINDEX 01 00:00:00\r\n"
      "  TRACK 2 audio\r\n    FLAGS DCP 4CH PRE SCMS other\r\n    TITLE \"Song \"\r\n    PERFORMER One\r\n"
      "    SONGWRITER \"W\"\r\n    ISRC ABCDE1234567\r\n    PREGAP 00:02:00\r\n    INDEX 00 00:10:00\r\n"
      "    INDEX 01 00:12:01\r\n    index 02 01:00:74\r\n    POSTGAP 00:01:00\r\n");
  ASSERT_TRUE(x.sheet.ok()) << x.message();
  const CueSheet& s = *x.sheet;
  EXPECT_TRUE(x.findings.empty());
  EXPECT_EQ(s.catalog, "1234567890123");
  EXPECT_EQ(s.cdtext_file, "disc.cdt");
  EXPECT_EQ(s.title, "A disc");
  EXPECT_EQ(s.performer, "All");
  EXPECT_EQ(s.songwriter, "Someone Else");
  ASSERT_EQ(s.files.size(), 1U);
  EXPECT_EQ(s.files[0].name, "dir/a b.bin");
  EXPECT_EQ(s.files[0].kind, CueFile::Kind::kBinary);
  ASSERT_EQ(s.tracks.size(), 2U);
  EXPECT_FALSE(s.tracks[0].audio);
  const CueTrack& t = s.tracks[1];
  EXPECT_EQ(t.number, 2U);
  EXPECT_TRUE(t.audio);
  EXPECT_THAT(t.flags, ElementsAre("DCP", "4CH", "PRE", "SCMS"));
  EXPECT_EQ(t.title, "Song");
  EXPECT_EQ(t.performer, "One");
  EXPECT_EQ(t.songwriter, "W");
  EXPECT_EQ(t.isrc, "ABCDE1234567");
  EXPECT_EQ(t.pregap_sectors, 150U);
  EXPECT_EQ(t.postgap_sectors, 75U);
  ASSERT_EQ(t.indexes.size(), 3U);
  EXPECT_EQ(t.indexes[0].number, 0U);
  EXPECT_EQ(t.indexes[0].sectors, 750U);
  EXPECT_EQ(t.indexes[1].sectors, 901U);
  EXPECT_EQ(t.indexes[2].number, 2U);
  EXPECT_EQ(t.indexes[2].sectors, 60U * 75 + 74);
}

TEST(CueSheet, KindsOfTracks) {
  // Widths: libcdio 2.1 bincue.c; CDG, CDI from common practice, no source.
  const struct {
    const char* word;
    std::uint16_t bytes;
    Holds holds;
    std::uint16_t held;
    bool audio;
  } kinds[] = {
      {"AUDIO", 2352, Holds::kRaw, 2352, true},         {"CDG", 2448, Holds::kRaw, 2352, true},
      {"MODE1/2048", 2048, Holds::kUser, 2048, false},  {"MODE1/2352", 2352, Holds::kRaw, 2352, false},
      {"MODE2/2048", 2048, Holds::kUser, 2048, false},  {"MODE2/2324", 2324, Holds::kForm2, 2324, false},
      {"Mode2/2336", 2336, Holds::kMode2, 2336, false}, {"MODE2/2352", 2352, Holds::kRaw, 2352, false},
      {"CDI/2336", 2336, Holds::kMode2, 2336, false},   {"cdi/2352", 2352, Holds::kRaw, 2352, false},
  };
  for (const auto& kind : kinds) {
    const Parsed x = parse("FILE a BINARY\nTRACK 1 " + std::string(kind.word) + "\nINDEX 1 0:0:0");
    ASSERT_TRUE(x.sheet.ok()) << x.message();
    const CueTrack& t = x.sheet->tracks[0];
    EXPECT_EQ(t.unit.bytes, kind.bytes) << kind.word;
    EXPECT_EQ(t.unit.holds, kind.holds) << kind.word;
    EXPECT_EQ(t.unit.held_bytes(), kind.held) << kind.word;
    EXPECT_EQ(t.audio, kind.audio) << kind.word;
  }
}

TEST(CueSheet, KindsOfFilesAndNamesWithoutQuotes) {
  const std::pair<const char*, CueFile::Kind> kinds[] = {
      {"BINARY", CueFile::Kind::kBinary}, {"motorola", CueFile::Kind::kMotorola}, {"WAVE", CueFile::Kind::kWave},
      {"AIFF", CueFile::Kind::kAiff},     {"MP3", CueFile::Kind::kOther},         {"FLAC", CueFile::Kind::kOther}};
  for (const auto& [word, kind] : kinds) {
    const Parsed x = parse("FILE my own  disc.bin " + std::string(word) + "\nTRACK 1 AUDIO\nINDEX 1 0:0:0");
    ASSERT_TRUE(x.sheet.ok()) << x.message();
    EXPECT_EQ(x.sheet->files[0].name, "my own  disc.bin");
    EXPECT_EQ(x.sheet->files[0].kind, kind) << word;
  }
}

TEST(CueSheet, SessionsByRemark) {
  const Parsed x = parse(
      "REM SESSION 01\nFILE a BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nREM SESSION 02\nFILE b BINARY\n"
      "TRACK 02 MODE2/2352\nINDEX 01 00:00:00\n");
  ASSERT_TRUE(x.sheet.ok()) << x.message();
  EXPECT_EQ(x.sheet->tracks[0].session, 1U);
  EXPECT_EQ(x.sheet->tracks[1].session, 2U);
}

TEST(CueSheet, FileNamedAgainForTheNextTrackIsOneFile) {
  const Parsed x =
      parse("FILE a BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\nFILE a BINARY\nTRACK 02 AUDIO\nINDEX 01 00:01:00\n");
  ASSERT_TRUE(x.sheet.ok()) << x.message();
  EXPECT_EQ(x.sheet->files.size(), 1U);
  EXPECT_EQ(x.sheet->tracks[1].indexes[0].file, 0U);
}

TEST(CueSheet, TextIsUtf8OrElseLatin1) {
  EXPECT_EQ(parse("TITLE \"\xC3\xA9t\xC3\xA9\"\n" + std::string(kOneTrack)).sheet->title, "été");
  EXPECT_EQ(parse("TITLE \"\xE9t\xE9\"\n" + std::string(kOneTrack)).sheet->title, "été");
  EXPECT_EQ(parse("TITLE \"a\x85\xE9\"\n" + std::string(kOneTrack)).sheet->title, "a%85é");
  EXPECT_EQ(parse("TITLE \"a\x1b[2J\"\n" + std::string(kOneTrack)).sheet->title, "a%1B[2J");
  // An unfinished quote ends with its line.
  EXPECT_EQ(parse("TITLE \"open\n" + std::string(kOneTrack)).sheet->title, "open");
}

TEST(CueSheet, TextThatIsNone) {
  EXPECT_EQ(*check_sheet("\xEF\xBB\xBF"
                         "FILE",
                         "x"),
            "FILE");
  const auto message = [](std::string text) {
    const auto checked = check_sheet(std::move(text), "x.cue");
    return checked.ok() ? "fine" : checked.error().message;
  };
  EXPECT_EQ(message(std::string("\xFF\xFE"
                                "F\0",
                                4)),
            "x.cue:1: is UTF-16 text; save it as UTF-8");
  EXPECT_EQ(message(std::string("a\nb\0", 4)), "x.cue:2: holds NUL bytes, as no text does");
  EXPECT_EQ(message(std::string((1 << 20) + 1, 'a')), "x.cue:1: is larger than 1 MiB, as no sheet of tracks is");
}

TEST(CueSheet, UnknownWordsArePassedOverAndTold) {
  const Parsed x = parse("WORD x\n" + std::string(kOneTrack));
  ASSERT_TRUE(x.sheet.ok()) << x.message();
  ASSERT_EQ(x.findings.list().size(), 1U);
  EXPECT_EQ(x.findings.list()[0].kind, "layout-word");
  EXPECT_EQ(x.findings.list()[0].text,
            "line 1 begins with 'WORD', a word that cue sheets don't have; it was passed over");
}

TEST(CueSheet, BadLinesAreNamed) {
  const std::string kinds =
      "; it is one of AUDIO, CDG, MODE1/2048, MODE1/2352, MODE2/2048, MODE2/2324, MODE2/2336, MODE2/2352, CDI/2336, "
      "CDI/2352";
  const std::string file = "FILE a BINARY\n", track = file + "TRACK 01 AUDIO\n", one = track + "INDEX 01 00:10:00\n";
  const std::pair<std::string, std::string> cases[] = {
      {"", "1: names no track; a cue sheet has FILE, TRACK and INDEX lines"},
      {"REM x\n\nREM y\n", "3: names no track; a cue sheet has FILE, TRACK and INDEX lines"},
      {"FILE a\n", "1: FILE needs a name and a kind: FILE \"disc.bin\" BINARY"},
      {"FILE \"a\" \"b\" BINARY\n", "1: FILE has more than a name in quotes and a kind"},
      {"FILE \"\" BINARY\n", "1: '' names no file"},
      {"FILE \"../..\" BINARY\n", "1: '../..' names no file"},
      {"FILE \"a/\" BINARY\n", "1: 'a/' names no file"},
      {"TRACK 01 AUDIO\n", "1: TRACK needs a FILE before it"},
      {file + "TRACK 01\n", "2: TRACK needs a number and a kind: TRACK 01 MODE1/2352"},
      {file + "TRACK 00 AUDIO\n", "2: track '00' is no number from 1 to 99"},
      {file + "TRACK 100 AUDIO\n", "2: track '100' is no number from 1 to 99"},
      {file + "TRACK 99999999999999999999 AUDIO\n", "2: track '99999999999999999999' is no number from 1 to 99"},
      {file + "TRACK -1 AUDIO\n", "2: track '-1' is no number from 1 to 99"},
      {file + "TRACK 01 MODE3/2352\n", "2: unknown kind of track 'MODE3/2352'" + kinds},
      {one + "TRACK 01 AUDIO\n", "4: track 1 comes after track 1"},
      {file + "INDEX 01 00:00:00\n", "2: INDEX needs a TRACK before it"},
      {track + "INDEX 01\n", "3: INDEX needs a number and a time: INDEX 01 00:00:00"},
      {track + "INDEX 100 00:00:00\n", "3: index '100' is no number from 0 to 99"},
      {track + "INDEX 01 00:60:00\n", "3: '00:60:00' is no time in minutes:seconds:frames"},
      {track + "INDEX 01 00:00:75\n", "3: '00:00:75' is no time in minutes:seconds:frames"},
      {track + "INDEX 01 00:00\n", "3: '00:00' is no time in minutes:seconds:frames"},
      {track + "INDEX 01 1000000:00:00\n", "3: '1000000:00:00' is no time in minutes:seconds:frames"},
      {track + "INDEX 01 -1:00:00\n", "3: '-1:00:00' is no time in minutes:seconds:frames"},
      {track + "INDEX 02 00:00:00\n", "3: index 2 of track 1 is out of order; they begin with 00 or 01 and ascend"},
      {one + "INDEX 01 00:20:00\n", "4: index 1 of track 1 is out of order; they begin with 00 or 01 and ascend"},
      {one + "INDEX 02 00:09:74\n", "4: INDEX goes back to 00:09:74, before the one above it"},
      {one + "TRACK 02 AUDIO\nINDEX 01 00:00:00\n", "5: INDEX goes back to 00:00:00, before the one above it"},
      {track, "2: track 1 (line 2) has no INDEX 01"},
      {track + "INDEX 00 00:00:00\nTRACK 02 AUDIO\n", "4: track 1 (line 2) has no INDEX 01"},
      {"PREGAP 00:02:00\n", "1: PREGAP needs a TRACK before it"},
      {track + "PREGAP 2\n", "3: PREGAP needs a time: PREGAP 00:02:00"},
      {track + "POSTGAP\n", "3: POSTGAP needs a time: POSTGAP 00:02:00"},
      {"FLAGS DCP\n", "1: FLAGS needs a TRACK before it"},
      {"ISRC x\n", "1: ISRC belongs to a track, but none began before it"},
      {"REM SESSION x\n", "1: session 'x' is no number from 0 to 99"},
      {"REM SESSION 02\nREM SESSION 01\n", "2: session '01' is no number from 2 to 99"},
      {one + "FILE b BINARY\nTRACK 02 AUDIO\nINDEX 01 00:00:00\nFILE a BINARY\n",
       "7: names the file of line 1 again, with others between"},
  };
  for (const auto& [text, message] : cases) {
    const Parsed x = parse(text);
    EXPECT_EQ(x.message(), "x.cue:" + message) << text;
    if (!x.sheet.ok()) {
      EXPECT_EQ(x.sheet.error().code, ErrorCode::kBadInput);
    }
  }
}

TEST(CueSheet, NinetyNineTracksAndNoMore) {
  std::string text = "FILE a BINARY\n";
  for (int i = 1; i <= 99; ++i) text += "TRACK " + std::to_string(i) + " AUDIO\nINDEX 01 00:00:00\n";
  EXPECT_EQ(parse(text).sheet->tracks.size(), 99U);
  EXPECT_EQ(parse(text + "TRACK 100 AUDIO\n").message(), "x.cue:200: track '100' is no number from 1 to 99");
}

}  // namespace
}  // namespace lacuna
