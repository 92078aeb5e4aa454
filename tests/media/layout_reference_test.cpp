// SPDX-License-Identifier: GPL-3.0-or-later
// Layouts against what libcdio 2.1 makes of the same files: tracks, their places and kinds, and the bytes of sectors;
// with sheets authored here and those of its own tests.
#include <cdio/cdio.h>
#include <cdio/cdtext.h>
#include <cdio/logging.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <iostream>

#include "base/bytes.h"
#include "media/cd_text.h"
#include "media/layout_helpers.h"
#include "media/sample_file.h"
#include "media/temp_folder.h"

namespace lacuna {
namespace {

namespace fs = std::filesystem;
using test::LaidOut;
using test::TempFolder;
using testing::ElementsAre;

// "NUMBER: LBA KIND", and the lead-out's.
std::vector<std::string> by_libcdio(const fs::path& path, driver_id_t driver) {
  cdio_log_set_handler([](cdio_log_level_t, const char*) {});
  // It looks for the files of a TOC file in the current folder.
  const fs::path before = fs::current_path();
  fs::current_path(path.parent_path());
  CdIo_t* const disc = cdio_open(path.filename().c_str(), driver);
  fs::current_path(before);
  if (disc == nullptr) return {"not opened"};
  std::vector<std::string> out;
  const track_t first = cdio_get_first_track_num(disc), count = cdio_get_num_tracks(disc);
  for (track_t t = first; t < first + count; ++t) {
    const bool audio = cdio_get_track_format(disc, t) == TRACK_FORMAT_AUDIO;
    out.push_back(fmt::format("{}: {} {}", int{t}, cdio_get_track_lsn(disc, t), audio ? "audio" : "data"));
  }
  out.push_back(fmt::format("end {}", cdio_get_track_lsn(disc, CDIO_CDROM_LEADOUT_TRACK)));
  cdio_destroy(disc);
  return out;
}

LaidOut by_lacuna(const fs::path& path) {
  LaidOut x{Error{}, {}};
  x.layout = path.extension() == ".cue" ? read_cue_sheet(path, x.findings) : read_container(path, x.findings);
  return x;
}

std::vector<std::string> in_its_words(const LaidOut& x) {
  if (!x.layout.ok()) return {x.message()};
  std::vector<std::string> out;
  for (const Track& t : x.layout->tracks) {
    out.push_back(fmt::format("{}: {} {}", t.number, t.first_lba, t.audio ? "audio" : "data"));
  }
  out.push_back(fmt::format("end {}", x.layout->end_lba));
  return out;
}

// The sectors of the layout's raw runs, one after the other.
std::vector<std::uint8_t> all_raw(const TrackLayout& layout) {
  std::vector<std::uint8_t> out;
  for (const StoredRun& run : layout.runs) {
    const std::size_t at = out.size();
    out.resize(at + static_cast<std::size_t>(run.sectors) * run.unit.bytes);
    EXPECT_TRUE(read_exactly(*layout.stores[run.store], run.at_byte, std::span(out).subspan(at)));
  }
  return out;
}

fs::path shared_images() {
  const char* shared = std::getenv("LACUNA_SHARED");
  return (shared != nullptr ? fs::path(shared) : fs::path(LACUNA_SOURCE) / ".." / "shared") / "images" / "real";
}

TEST(LayoutReference, AuthoredCueSheets) {
  const TempFolder folder;
  const std::string head = "FILE \"x.bin\" BINARY\n";
  const std::string sheets[] = {
      head + "TRACK 01 MODE1/2352\nINDEX 01 00:00:00\nTRACK 02 AUDIO\nINDEX 00 00:10:00\nINDEX 01 00:12:00\n",
      head + "TRACK 01 AUDIO\nINDEX 01 00:03:00\nTRACK 02 AUDIO\nINDEX 01 00:12:00\n",
      head + "TRACK 01 AUDIO\nINDEX 00 00:00:00\nINDEX 01 00:01:00\nTRACK 02 MODE2/2352\nINDEX 01 00:12:74\n",
      head + "TRACK 07 AUDIO\nFLAGS DCP\nINDEX 01 00:00:00\nINDEX 02 00:01:00\nTRACK 08 AUDIO\nINDEX 01 00:20:00\n",
      head + "TRACK 01 MODE1/2352\nINDEX 01 00:00:00\n",
  };
  folder.write("x.bin", std::vector<std::uint8_t>(2000 * kRawSectorBytes));
  for (const std::string& sheet : sheets) {
    const fs::path path = folder.write("x.cue", std::string_view(sheet));
    const LaidOut x = by_lacuna(path);
    EXPECT_EQ(in_its_words(x), by_libcdio(path, DRIVER_BINCUE)) << sheet;
    EXPECT_TRUE(x.findings.empty());
  }
}

// Explained differences. Whoever finds libcdio agreeing one day may move these above.
TEST(LayoutReference, WhereLibcdioCountsOtherwise) {
  const TempFolder folder;
  folder.write("x.bin", std::vector<std::uint8_t>(2000 * kRawSectorBytes));
  // It does not advance by a PREGAP, though the sectors of later data tracks do in their headers.
  const fs::path pregap =
      folder.write("x.cue", std::string_view("FILE x.bin BINARY\nTRACK 01 AUDIO\nINDEX 01 00:00:00\n"
                                             "TRACK 02 AUDIO\nPREGAP 00:02:00\nINDEX 01 00:12:00\n"));
  EXPECT_THAT(in_its_words(by_lacuna(pregap)), ElementsAre("1: 0 audio", "2: 1050 audio", "end 2150"));
  EXPECT_THAT(by_libcdio(pregap, DRIVER_BINCUE), ElementsAre("1: 0 audio", "2: 900 audio", "end 2000"));
  // It takes the file's size by 2352 whatever the track's sectors have.
  const fs::path cooked = folder.write("x.cue", std::string_view("FILE \"x.bin\" BINARY\nTRACK 01 MODE1/2048\n"
                                                                 "INDEX 01 00:00:00\n"));
  EXPECT_EQ(by_lacuna(cooked).layout->end_lba, (2000 * kRawSectorBytes + 2047) / 2048);
  EXPECT_THAT(by_libcdio(cooked, DRIVER_BINCUE), ElementsAre("1: 0 data", "end 2000"));
}

TEST(LayoutReference, AuthoredTocFiles) {
  const TempFolder folder;
  folder.write("x.bin", std::vector<std::uint8_t>(2000 * kRawSectorBytes));
  const auto write = [&](std::string_view sheet) { return folder.write("x.toc", sheet); };
  for (const char* sheet : {
           "CD_DA\nTRACK AUDIO\nFILE \"x.bin\" 00:00:00 00:10:00\nTRACK AUDIO\nFILE \"x.bin\" 00:10:00 00:10:00\n",
           "CD_ROM\nTRACK MODE1_RAW\nFILE \"x.bin\" 00:00:00 00:00:00\n",
       }) {
    const fs::path path = write(sheet);
    EXPECT_EQ(in_its_words(by_lacuna(path)), by_libcdio(path, DRIVER_CDRDAO)) << sheet;
  }
  // An explained difference: what START takes for the pregap it counts a second time.
  const fs::path start = write(
      "CD_DA\nTRACK AUDIO\nFILE \"x.bin\" 00:00:00 00:10:00\nTRACK AUDIO\nFILE \"x.bin\" 00:10:00 00:10:00\n"
      "START 00:02:00\n");
  EXPECT_THAT(in_its_words(by_lacuna(start)), ElementsAre("1: 0 audio", "2: 900 audio", "end 1500"));
  EXPECT_THAT(by_libcdio(start, DRIVER_CDRDAO), ElementsAre("1: 0 audio", "2: 900 audio", "end 1650"));
}

TEST(LayoutReference, SheetsOfItsOwnTests) {
  const fs::path shared = shared_images();
  if (!fs::is_directory(shared)) GTEST_SKIP() << "no shared images: neither in $LACUNA_SHARED nor beside the checkout";
  const TempFolder folder;
  const auto copy = [&](const std::string& from, const std::string& to) {
    std::error_code error;
    return fs::copy_file(shared / from, folder / to, fs::copy_options::overwrite_existing, error);
  };
  // The files that p1.cue and cdda_4_5.cue name are not there.
  const struct {
    const char *from, *to;
    std::vector<std::string> tracks, found;
  } sheets[] = {
      {"cdio-isofs-m1.cue", "isofs-m1.cue", {"1.1: 0+302 -0 ISOFS-M1.BIN"}, {}},
      {"cdio-isofs-m1.toc", "isofs-m1.toc", {"1.1: 0+302 -0 isofs-m1.bin"}, {}},
      {"cdio-cdda.cue", "cdda.cue", {"1.1~: 0+302 -0 CDDA.BIN"}, {}},
      {"cdio-p1.cue",
       "p1.cue",
       {"1.1~: 75+75 -75 BOING.BIN", "2.1~: 225+0 -75 BOING.BIN"},
       {"layout-file-missing BOING.BIN: (line 4, from track 1 on) is missing; its sectors are absent"}},
      {"cdio-cdda-4-5.cue",
       "cdda_4_5.cue",
       {"4.1~: 0+150 -0 cdda_4_5.bin", "5.1~: 150+0 -0 cdda_4_5.bin"},
       {"layout-file-missing cdda_4_5.bin: (line 1, from track 4 on) is missing; its sectors are absent"}},
  };
  if (!copy("cdio-isofs-m1.bin", "isofs-m1.bin") || !copy("cdio-cdda.bin", "cdda.bin")) {
    GTEST_SKIP() << "the shared images have no sheets";
  }
  for (const auto& sheet : sheets) {
    if (!copy(sheet.from, sheet.to)) {
      std::cout << sheet.from << ": not among the shared images\n";
      continue;
    }
    const LaidOut x = by_lacuna(folder / sheet.to);
    EXPECT_EQ(x.tracks(), sheet.tracks) << sheet.from;
    EXPECT_EQ(x.found(), sheet.found) << sheet.from;
    if (!sheet.found.empty()) continue;
    const bool toc = (folder / sheet.to).extension() == ".toc";
    EXPECT_EQ(in_its_words(x), by_libcdio(folder / sheet.to, toc ? DRIVER_CDRDAO : DRIVER_BINCUE)) << sheet.from;
    EXPECT_EQ(all_raw(*x.layout).size(), 302U * kRawSectorBytes);
  }
}

TEST(LayoutReference, NrgOfItsOwnTests) {
  const fs::path packed = shared_images() / "cdio-p1.nrg.gz";
  if (!fs::exists(packed)) GTEST_SKIP() << "no shared images: neither in $LACUNA_SHARED nor beside the checkout";
  const TempFolder folder;
  ASSERT_TRUE(test::run_command(folder.path(), "gzip -dc '" + fs::absolute(packed).string() + "' >p1.nrg"));
  const fs::path path = folder / "p1.nrg";
  EXPECT_EQ(layout_kind(path), LayoutKind::kContainer);
  const LaidOut x = by_lacuna(path);
  EXPECT_THAT(x.found(), testing::IsEmpty());
  EXPECT_EQ(in_its_words(x), by_libcdio(path, DRIVER_NRG));
  EXPECT_THAT(x.tracks(), ElementsAre("1.1~: 150+75 -150 ", "2.1~: 300+2 -75 "));
  EXPECT_THAT(x.runs(), ElementsAre("0+302 @0:352800/2352~"));

  CdIo_t* const disc = cdio_open(path.c_str(), DRIVER_NRG);
  ASSERT_NE(disc, nullptr);
  cdtext_t* const text = cdio_get_cdtext(disc);
  ASSERT_NE(text, nullptr);
  for (const Track& t : x.layout->tracks) {
    const auto same = [&](cdtext_field_t field, const std::string& ours) {
      const char* const theirs = cdtext_get_const(text, field, static_cast<track_t>(t.number));
      EXPECT_EQ(ours, theirs == nullptr ? "" : theirs) << t.number;
    };
    same(CDTEXT_FIELD_TITLE, t.title);
    same(CDTEXT_FIELD_PERFORMER, t.performer);
  }
  // This disc has texts of its own only; a layout has no place for them, so that their packs are read here.
  const std::vector<std::uint8_t> file = test::read_file(path);
  const std::size_t packs = as_text(file).rfind("CDTX");
  ASSERT_NE(packs, std::string_view::npos);
  const CdText own = read_cd_text(Bytes(file).subspan(packs + 8, be32(file, packs + 4)));
  EXPECT_EQ(own.title[0], cdtext_get_const(text, CDTEXT_FIELD_TITLE, 0));
  EXPECT_EQ(own.performer[0], cdtext_get_const(text, CDTEXT_FIELD_PERFORMER, 0));
  // Bytes: libcdio has no sectors before a track's index 1.
  for (const Track& t : x.layout->tracks) {
    std::vector<std::uint8_t> theirs(static_cast<std::size_t>(t.sectors) * kRawSectorBytes), ours(theirs.size());
    ASSERT_EQ(cdio_read_audio_sectors(disc, theirs.data(), static_cast<lsn_t>(t.first_lba),
                                      static_cast<std::uint32_t>(t.sectors)),
              DRIVER_OP_SUCCESS);
    ASSERT_TRUE(read_exactly(*x.layout->stores[0], 352800 + t.first_lba * kRawSectorBytes, ours));
    EXPECT_EQ(ours, theirs) << t.number;
  }
  cdio_destroy(disc);
}

}  // namespace
}  // namespace lacuna
