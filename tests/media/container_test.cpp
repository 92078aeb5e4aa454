// SPDX-License-Identifier: GPL-3.0-or-later
// TOC files and NRG containers, and telling descriptions from other files.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "media/cd_text.h"
#include "media/chunk_bytes.h"
#include "media/layout_helpers.h"
#include "media/memory_store.h"
#include "media/nrg.h"
#include "media/temp_folder.h"
#include "media/toc_sheet.h"

namespace lacuna {
namespace {

using test::be_bytes;
using test::chunk_be;
using test::LaidOut;
using test::MemoryFolder;
using test::MemoryStore;
using test::TempFolder;
using test::zero_sectors;
using testing::ElementsAre;
using testing::IsEmpty;
using std::string_literals::operator""s;

LaidOut toc(std::string_view text, const MemoryFolder& folder) {
  LaidOut x{Error{}, {}};
  const auto sheet = parse_toc_sheet(text, "x.toc");
  if (sheet.ok()) {
    x.layout = place_toc_sheet(*sheet, "x.toc", folder.opener(), x.findings);
  } else {
    x.layout = sheet.error();
  }
  return x;
}

TEST(TocFile, TracksOutOfStretchesOfFiles) {
  const LaidOut x =
      toc("CATALOG \"1234567890123\"\nCD_ROM_XA // a comment\nCD_TEXT {\n LANGUAGE_MAP { 0 : 9 }\n LANGUAGE 0 { TITLE "
          "\"Disc\" } }\nTRACK MODE1_RAW\nNO COPY\nDATAFILE \"a.bin\" 00:01:00\n\n// Track 2\nTRACK AUDIO\nCOPY\n"
          "NO PRE_EMPHASIS\nTWO_CHANNEL_AUDIO\nISRC \"ABCDE1234567\"\nCD_TEXT { LANGUAGE 0 { TITLE \"S\\351\\\"\" "
          "PERFORMER "
          "\"P\" } LANGUAGE 1 { TITLE \"other\" } }\nSILENCE 00:02:00\nSTART\nFILE \"a.bin\" #176400 0 00:00:20\n"
          "INDEX 00:00:10\nTRACK MODE2_FORM_MIX\nZERO MODE2_FORM_MIX 00:00:05\nSTART 00:00:05\nDATAFILE \"b.bin\"\n",
          MemoryFolder().add("a.bin", zero_sectors(100)).add("b.bin", std::vector<std::uint8_t>(10 * 2336)));
  EXPECT_THAT(x.found(), IsEmpty());
  EXPECT_THAT(x.runs(), ElementsAre("0+75 @0:0/2352", "225+20 @0:176400/2352~^", "250+10 @1:0/2336"));
  EXPECT_THAT(x.tracks(), ElementsAre("1.1: 0+75 -0 a.bin", "2.1~: 225+20 -150 a.bin", "3.1: 250+10 -5 b.bin"));
  EXPECT_EQ(x.layout->tracks[1].isrc, "ABCDE1234567");
  EXPECT_EQ(x.layout->tracks[1].title, "Sé\"");
  EXPECT_EQ(x.layout->tracks[1].performer, "P");
  EXPECT_EQ(x.layout->end_lba, 260U);
}

TEST(TocFile, ModesAndSubchannels) {
  const std::pair<const char*, int> modes[] = {
      {"AUDIO", 2352},         {"MODE1", 2048},       {"MODE1_RAW", 2352},
      {"MODE2", 2336},         {"MODE2_FORM1", 2048}, {"MODE2_FORM2", 2324},
      {"MODE2_RAW", 2352},     {"AUDIO RW", 2448},    {"MODE1_RAW RW_RAW", 2448},
      {"MODE2_FORM_MIX", 2336}};
  for (const auto& [mode, bytes] : modes) {
    const LaidOut x = toc("CD_ROM TRACK " + std::string(mode) + " FILE \"a\" 0",
                          MemoryFolder().add("a", std::vector<std::uint8_t>(static_cast<std::size_t>(bytes) * 3)));
    ASSERT_TRUE(x.layout.ok()) << x.message();
    ASSERT_EQ(x.layout->runs.size(), 1U) << mode;
    EXPECT_EQ(x.layout->runs[0].unit.bytes, bytes) << mode;
    EXPECT_EQ(x.layout->runs[0].sectors, 3U) << mode;
  }
}

TEST(TocFile, OrderOfBytesOfSamples) {
  std::vector<std::uint8_t> wave(44 + 2 * 2352);
  const std::string head("RIFF\x84\x12\0\0WAVEfmt \x10\0\0\0\1\0\2\0\x44\xAC\0\0\x10\xB1\2\0\4\0\x10\0data\x60\x12\0\0",
                         44);
  std::copy(head.begin(), head.end(), wave.begin());
  const MemoryFolder folder = MemoryFolder().add("a", zero_sectors(2)).add("w", wave);
  EXPECT_THAT(toc("CD_DA TRACK AUDIO AUDIOFILE \"a\" 0", folder).runs(), ElementsAre("0+2 @0:0/2352~^"));
  EXPECT_THAT(toc("CD_DA TRACK AUDIO FILE \"a\" SWAP 0", folder).runs(), ElementsAre("0+2 @0:0/2352~"));
  EXPECT_THAT(toc("CD_DA TRACK AUDIO FILE \"w\" 0", folder).runs(), ElementsAre("0+2 @0:44/2352~"));
  std::copy_n("\x80\xBB", 2, wave.begin() + 24);  // 48000 Hz
  const LaidOut x = toc("CD_DA TRACK AUDIO FILE \"w\" 0", MemoryFolder().add("w", wave));
  EXPECT_THAT(x.runs(), IsEmpty());
  EXPECT_THAT(x.found(), ElementsAre(testing::StartsWith("layout-file-kind w: (line 1) holds 2 channels of 48000 Hz")));
}

TEST(TocFile, SectorsAcrossTwoFilesAreAbsent) {
  const LaidOut x = toc("CD_DA TRACK AUDIO FILE \"a\" 0 600 FILE \"b\" 0 576 FILE \"a\" 588 588",
                        MemoryFolder().add("a", zero_sectors(2)).add("b", zero_sectors(2)));
  EXPECT_THAT(x.runs(), ElementsAre("0+1 @0:0/2352~^", "2+1 @0:2352/2352~^"));
  EXPECT_THAT(x.found(), ElementsAre("layout-file-odd a: (line 1) does not end with a sector; the sector in which it "
                                     "does is absent"));
}

TEST(TocFile, MissingAndShortFiles) {
  const LaidOut x = toc(
      "CD_ROM TRACK AUDIO FILE \"none\" 0 00:00:10\nTRACK MODE1 DATAFILE \"a\" 00:00:05\nTRACK AUDIO FILE \"none2\" 0\n"
      "TRACK MODE1 DATAFILE \"b\"\nTRACK AUDIO FILE \"c\" 0\n",
      MemoryFolder()
          .add("a", std::vector<std::uint8_t>(2048 * 3))
          .add("b", std::vector<std::uint8_t>(2048 * 3))
          .add("c", zero_sectors(2)));
  EXPECT_THAT(x.runs(), ElementsAre("10+3 @0:0/2048", "18+2 @2:0/2352~^"));
  EXPECT_THAT(x.found(),
              ElementsAre("layout-file-missing none: (line 1) is missing; its sectors are absent",
                          "layout-file-short a: (line 2) ends 4096 bytes before what the sheet takes from it; they are "
                          "absent",
                          "layout-file-missing none2: (line 3) is missing; its sectors are absent",
                          "layout-place b: (line 4) begins at LBA 15 or later, as how long a file before it was is not "
                          "known; without a certain place its data is absent",
                          "layout-place c: (line 5) begins at LBA 18 or later, as how long a file before it was is not "
                          "known"));
}

TEST(TocFile, BadStatementsAreNamed) {
  std::string many = "CD_DA\n";
  for (int i = 0; i < 100; ++i) many += "TRACK AUDIO FILE \"a\" 0\n";
  const std::pair<std::string, std::string> cases[] = {
      {"CD_DA\n", "1: names no track"},
      {"CD_DA TRACK AUDIO", "1: track 1 holds nothing"},
      {"CD_DA TRACK AUDIO\nTRACK AUDIO\n", "2: track 1 holds nothing"},
      {"CD_DA TRACK SOUND", "1: unknown mode of a track, 'SOUND'"},
      {"CD_DA\nFILE \"a\" 0", "2: 'FILE' needs a TRACK before it"},
      {"CD_DA TRACK AUDIO\nFILE a 0", "2: 'a' names no file"},
      {"CD_DA TRACK AUDIO\nFILE \"..\" 0", "2: '..' names no file"},
      {"CD_DA TRACK AUDIO\nFILE \"a\" #x 0", "2: '#x' is no place in a file"},
      {"CD_DA TRACK AUDIO\nSILENCE\n", "2: needs a length"},
      {"CD_DA TRACK AUDIO FILE \"a\" 0\nSTART\n",
       "2: START needs a time, as the length of the file before it is not stated"},
      {"CD_DA TRACK AUDIO SILENCE 0:2:0 START\nSTART 0:1:0\n", "2: START stands behind PREGAP, or twice"},
      {"CD_DA TRACK AUDIO SILENCE 0:2:0 START\nPREGAP 0:1:0\n", "2: PREGAP stands behind START, or twice"},
      {"CD_DA TRACK AUDIO FIFO \"a\" 0", "1: takes its sectors from a pipe, which an image can't"},
      {"CD_DA\nCD_TEXT { { \"x\"", "2: CD_TEXT is not closed"},
      {"CD_DA TRACK AUDIO\nINDEX x", "2: INDEX needs a time"},
      {"CD_DA TRACK AUDIO\n\nWORD", "3: unknown word 'WORD'"},
      {"CD_DA \"x\"", "1: 'x' stands where a word should"},
      {many, "101: names more than 99 tracks"},
  };
  for (const auto& [text, message] : cases) EXPECT_EQ(toc(text, {}).message(), "x.toc:" + message) << text;
}

// --- NRG

std::string cuex(int control, int track, int index, std::int64_t lba) {
  return be_bytes(static_cast<std::uint64_t>(control), 1) + be_bytes(static_cast<std::uint64_t>(track), 1) +
         be_bytes(static_cast<std::uint64_t>(index), 1) + '\0' + be_bytes(static_cast<std::uint64_t>(lba), 4);
}
struct DaoTrack {
  std::uint64_t unit, mode, at, index1, end;
};
std::string dao(const std::vector<DaoTrack>& tracks, std::uint64_t first = 1, int width = 8) {
  std::string s = std::string(20, '\0') + be_bytes(first, 1) + be_bytes(first + tracks.size() - 1, 1);
  for (const DaoTrack& t : tracks) {
    s += "ISRC00000001" + be_bytes(t.unit, 2) + be_bytes(t.mode, 1) + std::string(3, '\0') + be_bytes(t.at, width) +
         be_bytes(t.index1, width) + be_bytes(t.end, width);
  }
  return s;
}
std::string nrg_file(std::size_t data_bytes, const std::string& chunks, bool old = false) {
  std::string file(data_bytes, '\0');
  file += chunks + chunk_be("END!", "");
  return file + (old ? "NERO" + be_bytes(data_bytes, 4) : "NER5" + be_bytes(data_bytes, 8));
}

LaidOut nrg(const std::string& file) {
  LaidOut x{Error{}, {}};
  x.layout = place_nrg(std::make_unique<MemoryStore>(file), "x.nrg", x.findings);
  return x;
}

TEST(Nrg, DiscAtOnceWithThePauseBeforeTheFirstSector) {
  // 150 sectors before LBA 0, 20 of mode 1, 5 of a pregap and 10 of sound.
  const std::uint64_t a = 150 * 2048, b = a + 20 * 2048, c = b + 5 * 2352, end = c + 10 * 2352;
  const std::string chunks = chunk_be("CUEX", cuex(0x41, 0, 0, -150) + cuex(0x41, 1, 0, -150) + cuex(0x41, 1, 1, 0) +
                                                  cuex(1, 2, 0, 20) + cuex(1, 2, 1, 25) + cuex(1, 0xAA, 1, 35)) +
                             chunk_be("DAOX", dao({{2048, 0, 0, a, b}, {2352, 7, b, c, end}})) +
                             chunk_be("SINF", be_bytes(2, 4)) + chunk_be("MTYP", be_bytes(1, 4));
  const LaidOut x = nrg(nrg_file(end, chunks));
  EXPECT_THAT(x.found(), IsEmpty());
  EXPECT_THAT(x.runs(), ElementsAre("0+20 @0:307200/2048", "20+15 @0:348160/2352~"));
  EXPECT_THAT(x.tracks(), ElementsAre("1.1: 0+20 -0 ", "2.1~: 25+10 -5 "));
  EXPECT_EQ(x.layout->tracks[1].isrc, "ISRC00000001");
  EXPECT_EQ(x.layout->end_lba, 35U);
}

TEST(Nrg, OldFormInTwoSessions) {
  const auto msf = [](int track, int index, int m, int s, int f) {
    return be_bytes(1, 1) + be_bytes(static_cast<std::uint64_t>(track), 1) +
           be_bytes(static_cast<std::uint64_t>(index), 1) + "\0\0"s + be_bytes(static_cast<std::uint64_t>(m), 1) +
           be_bytes(static_cast<std::uint64_t>(s), 1) + be_bytes(static_cast<std::uint64_t>(f), 1);
  };
  const std::string chunks = chunk_be("CUES", msf(1, 1, 0, 2, 0) + msf(0xAA, 1, 0, 2, 0x10)) +
                             chunk_be("DAOI", dao({{2352, 7, 0, 0, 23520}}, 1, 4)) + chunk_be("SINF", be_bytes(1, 4)) +
                             chunk_be("CUES", msf(2, 1, 0x02, 0x34, 0x10)) +
                             chunk_be("DAOI", dao({{2352, 6, 23520, 23520, 47040}}, 2, 4)) +
                             chunk_be("SINF", be_bytes(1, 4));
  const LaidOut x = nrg(nrg_file(47040, chunks, true));
  EXPECT_THAT(x.found(), IsEmpty());
  EXPECT_THAT(x.tracks(), ElementsAre("1.1~: 0+10 -0 ", "2.2: 11410+10 -0 "));
  EXPECT_THAT(x.runs(), ElementsAre("0+10 @0:0/2352~", "11410+10 @0:23520/2352"));
}

TEST(Nrg, TrackAtOnceInBothForms) {
  const std::string wide = be_bytes(0, 8) + be_bytes(20480, 8) + be_bytes(0, 4) + be_bytes(0, 4) + be_bytes(0, 8) +
                           be_bytes(20480, 8) + be_bytes(23360, 8) + be_bytes(3, 4) + be_bytes(11400, 4) +
                           be_bytes(0, 8);
  const LaidOut x = nrg(nrg_file(43840, chunk_be("ETN2", wide)));
  EXPECT_THAT(x.found(), IsEmpty());
  EXPECT_THAT(x.runs(), ElementsAre("0+10 @0:0/2048", "11400+10 @0:20480/2336"));
  const std::string narrow = be_bytes(0, 4) + be_bytes(20480, 4) + be_bytes(2, 4) + be_bytes(5, 4) + be_bytes(0, 4);
  EXPECT_THAT(nrg(nrg_file(20480, chunk_be("ETNF", narrow), true)).tracks(), ElementsAre("1.1: 5+10 -0 "));
}

TEST(Nrg, ShortFilesUnknownModesAndOverlaps) {
  const auto one = [](std::uint64_t mode, std::uint64_t unit, std::uint64_t end) {
    return chunk_be("CUEX", cuex(1, 1, 1, 0)) + chunk_be("DAOX", dao({{unit, mode, 0, 0, end}}));
  };
  const LaidOut cut = nrg(nrg_file(2352 * 4, one(7, 2352, 2352 * 10)));
  EXPECT_THAT(cut.runs(), ElementsAre("0+4 @0:0/2352~"));
  EXPECT_THAT(cut.tracks(), ElementsAre("1.1~: 0+10 -0 "));
  EXPECT_THAT(cut.found(),
              ElementsAre("layout-file-short x.nrg: track 1 reaches beyond the sectors that the file has; 6 "
                          "are absent"));
  const LaidOut odd = nrg(nrg_file(2352 * 4, one(9, 2352, 2352 * 4)));
  EXPECT_THAT(odd.runs(), IsEmpty());
  EXPECT_THAT(odd.found(),
              ElementsAre("layout-file-kind x.nrg: track 1 is of mode 9 with 2352 bytes a sector, which is "
                          "not read; its sectors are absent"));
  EXPECT_THAT(nrg(nrg_file(2352 * 4, one(0, 2352, 2352 * 4))).found(), testing::SizeIs(1));
  const LaidOut overlap = nrg(nrg_file(
      2352 * 10, chunk_be("CUEX", cuex(1, 1, 1, 0) + cuex(1, 2, 1, 3)) +
                     chunk_be("DAOX", dao({{2352, 7, 0, 0, 2352 * 5}, {2352, 7, 2352 * 5, 2352 * 5, 2352 * 10}}))));
  EXPECT_THAT(overlap.runs(), ElementsAre("0+5 @0:0/2352~", "5+3 @0:16464/2352~"));
  EXPECT_THAT(overlap.found(), ElementsAre("layout-overlap x.nrg: places 2 sectors where others are already; they were "
                                           "left out"));
}

TEST(Nrg, WhatCanNotBeFollowedIsRefused) {
  const auto refused = [](const std::string& chunks) { return nrg(nrg_file(100, chunks)).message(); };
  EXPECT_EQ(nrg("short").message(), "'x.nrg' does not end as an NRG container does");
  EXPECT_EQ(refused(""), "'x.nrg' names no track");
  EXPECT_EQ(refused("CUEX" + be_bytes(0x7FFFFFFF, 4)),
            "x.nrg: the chunk 'CUEX' at byte 100 has 2147483647 bytes, too many");
  EXPECT_EQ(refused("CUEX" + be_bytes(1000, 4)), "x.nrg: the chunk 'CUEX' at byte 100 is cut");
  EXPECT_EQ(refused(chunk_be("DAOX", "")), "x.nrg: the chunk 'DAOX' at byte 100 is too short for its head");
  EXPECT_EQ(refused(chunk_be("DAOX", std::string(20, '\0') + be_bytes(1, 1) + be_bytes(99, 1))),
            "x.nrg: the chunk 'DAOX' at byte 100 holds fewer tracks than it says");
  EXPECT_EQ(refused(chunk_be("DAOX", std::string(20, '\0') + be_bytes(9, 1) + be_bytes(1, 1))),
            "x.nrg: the chunk 'DAOX' at byte 100 names tracks 9 to 1");
  EXPECT_EQ(refused(chunk_be("DAOX", dao({{2352, 7, 9, 5, 7}}))),
            "x.nrg: the chunk 'DAOX' at byte 100 has track 1 end before it begins");
  EXPECT_EQ(refused(chunk_be("ETN2", be_bytes(0, 8) + be_bytes(~std::uint64_t{0}, 8) + std::string(16, '\0'))),
            "x.nrg: the chunk 'ETN2' at byte 100 holds a track longer than the file");
  std::string many;
  for (int i = 0; i < 3000; ++i) many += chunk_be("XXXX", "");
  EXPECT_EQ(refused(many), "x.nrg: has too many chunks");
}

// --- CD-Text

std::string pack(std::uint8_t type, int track, int number, int place, std::string text) {
  text.resize(12, '\0');
  std::string p = be_bytes(type, 1) + be_bytes(static_cast<std::uint64_t>(track), 1) +
                  be_bytes(static_cast<std::uint64_t>(number), 1) + be_bytes(static_cast<std::uint64_t>(place), 1) +
                  text;
  std::uint32_t code = 0;  // bit by bit, as ECMA-130 22.3.3.4 words it
  for (const char c : p) {
    for (int bit = 7; bit >= 0; --bit) {
      const bool carry = ((code >> 15) ^ (static_cast<unsigned char>(c) >> bit & 1U)) & 1U;
      code = (code << 1 & 0xFFFF) ^ (carry ? 0x1021U : 0);
    }
  }
  return p + be_bytes(code ^ 0xFFFF, 2);
}

TEST(CdText, TextsAcrossPacksByTrack) {
  const std::string packs = pack(0x80, 0, 0, 0, "A long title") +
                            pack(0x80, 0, 1, 12,
                                 " of it\0Tr\xE9"
                                 "ck"s) +
                            pack(0x80, 1, 2, 3, "-x\0\t\0"s) + pack(0x81, 0, 3, 0, "All\0"s) +
                            pack(0x80, 1, 4, 0x80, "wide") + pack(0x80, 1, 5, 0x10, "second lang\0"s);
  const CdText text = read_cd_text(as_bytes(packs));
  EXPECT_EQ(text.title[0], "A long title of it");
  EXPECT_EQ(text.title[1], "Tréck-x");
  EXPECT_EQ(text.title[2], "Tréck-x");
  EXPECT_EQ(text.performer[0], "All");
  EXPECT_EQ(text.performer[1], "");
}

TEST(CdText, PacksThatDoNotProveThemselvesAreLeftOut) {
  std::string packs = pack(0x80, 0, 0, 0, "First\0Secon"s) + pack(0x80, 1, 1, 5, "d\0Third\0"s);
  packs[5] ^= 1;  // of the first
  const CdText text = read_cd_text(as_bytes(packs));
  EXPECT_EQ(text.title[0], "");
  EXPECT_EQ(text.title[1], "");
  EXPECT_EQ(text.title[2], "Third");
}

// --- which is which

TEST(LayoutKinds, ByNameAndFirstBytes) {
  const TempFolder folder;
  const auto kind = [&](const std::string& name, const std::string& text) {
    return layout_kind(folder.write(name, std::string_view(text)));
  };
  EXPECT_EQ(kind("a.cue", "REM x\r\n\r\n  file a BINARY\r\n"), LayoutKind::kCueSheet);
  EXPECT_EQ(kind("b.CUE", "\xEF\xBB\xBFTITLE x\n"), LayoutKind::kCueSheet);
  EXPECT_EQ(kind("c.cue", "[section]\n"), LayoutKind::kNone);
  EXPECT_EQ(kind("d.cue", std::string("FILE\0", 5)), LayoutKind::kNone);
  EXPECT_EQ(kind("e.bin", "FILE a BINARY\n"), LayoutKind::kNone);
  EXPECT_EQ(kind("f.toc", "// made by hand\nCATALOG \"1\"\nCD_DA\n"), LayoutKind::kContainer);
  EXPECT_EQ(kind("g.toc", "FILE a BINARY\n"), LayoutKind::kNone);
  EXPECT_EQ(kind("h.nrg", nrg_file(100, "")), LayoutKind::kContainer);
  EXPECT_EQ(kind("i.nrg", std::string(100, 'x')), LayoutKind::kNone);
  EXPECT_EQ(layout_kind(folder / "none.cue"), LayoutKind::kNone);
}

TEST(LayoutKinds, ContainersAreReadFromFiles) {
  const TempFolder folder;
  folder.write("A.bin", zero_sectors(3));
  const auto read = [&](const std::string& name, const std::string& text) {
    LaidOut x{Error{}, {}};
    x.layout = read_container(folder.write(name, std::string_view(text)), x.findings);
    return x;
  };
  EXPECT_THAT(read("a.toc", "CD_ROM TRACK MODE1_RAW FILE \"dir/a.BIN\" 0").runs(), ElementsAre("0+3 @0:0/2352"));
  EXPECT_THAT(
      read("a.nrg", nrg_file(2048, chunk_be("ETN2", be_bytes(0, 8) + be_bytes(2048, 8) + std::string(16, '\0'))))
          .runs(),
      ElementsAre("0+1 @0:0/2048"));
  const LaidOut x = read("b.nrg", "neither");
  EXPECT_EQ(x.message(), "'" + (folder / "b.nrg").string() + "' is neither a TOC file nor an NRG container");
  EXPECT_EQ(x.layout.error().code, ErrorCode::kNotReadable);
}

}  // namespace
}  // namespace lacuna
