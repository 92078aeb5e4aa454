// SPDX-License-Identifier: GPL-3.0-or-later
// Walking over files, what is told of them, and reading them.
#include "c_disc.h"
#include "c_interface.h"
#include "support/authoring.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;

std::vector<std::string> paths(const COpened& disc, const lacuna_file_filter* filter) {
  std::vector<std::string> out;
  lacuna_files* walk = nullptr;
  EXPECT_EQ(lacuna_disc_files(disc.get(), filter, &walk, nullptr), LACUNA_OK);
  const CFiles owner(walk);
  for (;;) {
    lacuna_file* file = nullptr;
    EXPECT_EQ(lacuna_files_next(walk, &file, nullptr), LACUNA_OK);
    if (file == nullptr) return out;
    out.push_back(text_of(lacuna_file_path(file)));
    lacuna_file_free(file);
  }
}

TEST(CFiles, AreGivenInTheOrderOfListings) {
  CDisc box;
  const COpened disc = box.open();
  EXPECT_THAT(paths(disc, nullptr), ElementsAre("LETTER.TXT", "PHOTO.JPG", "SUB/NOTE.TXT"));
  auto filter = sized<lacuna_file_filter>();
  filter.flags = LACUNA_FILTER_DIRECTORIES;
  EXPECT_THAT(paths(disc, &filter), ElementsAre("LETTER.TXT", "PHOTO.JPG", "SUB", "SUB/NOTE.TXT"));
}

TEST(CFiles, AreFilteredByGlobAndState) {
  CDisc box;
  box.alter = [lba = box.lba_of("PHOTO.JPG;1") + 3](std::uint64_t at, std::uint8_t*, lacuna_sector_state& s) {
    if (at == lba) s = LACUNA_SECTOR_BAD;
  };
  const COpened disc = box.open();
  auto filter = sized<lacuna_file_filter>();
  const lacuna_string glob = lacuna_text("*.txt");
  filter.globs = &glob;
  filter.glob_count = 1;
  EXPECT_THAT(paths(disc, &filter), ElementsAre());
  filter.flags = LACUNA_FILTER_IGNORE_CASE;
  EXPECT_THAT(paths(disc, &filter), ElementsAre("LETTER.TXT", "SUB/NOTE.TXT"));
  filter = sized<lacuna_file_filter>();
  filter.states = 1U << LACUNA_FILE_DAMAGED;
  EXPECT_THAT(paths(disc, &filter), ElementsAre("PHOTO.JPG"));
}

TEST(CFiles, TellWhatTheyAre) {
  CDisc box;
  const COpened disc = box.open();
  const lacuna_file_info info = info_of(find(disc, "SUB/NOTE.TXT"));
  EXPECT_EQ(info.size, 300U);
  EXPECT_EQ(info.state, static_cast<lacuna_file_state>(LACUNA_FILE_WHOLE));
  EXPECT_EQ(info.basis, static_cast<lacuna_basis>(LACUNA_BASIS_ASSUMED));
  EXPECT_EQ(info.evidence, static_cast<lacuna_evidence>(LACUNA_EVIDENCE_TREE));
  EXPECT_EQ(info.view, static_cast<lacuna_view>(LACUNA_VIEW_ISO9660));
  EXPECT_EQ(info.kind, static_cast<lacuna_node_kind>(LACUNA_NODE_FILE));
  EXPECT_EQ(info.session, 1U);
  EXPECT_EQ(info.version, 1U);
  EXPECT_EQ(info.modified.known, 1);
  EXPECT_EQ(info.modified.seconds, 1083827289);  // IsoDate's default, 2004-05-06 07:08:09 UTC, by date(1)
  EXPECT_EQ(text_of(info.symlink_target), "");
  EXPECT_EQ(info_of(find(disc, "SUB")).kind, static_cast<lacuna_node_kind>(LACUNA_NODE_DIRECTORY));
}

TEST(CFiles, ExtentsAndGapsSayWhere) {
  CDisc box;
  const std::uint64_t first = box.lba_of("PHOTO.JPG;1");
  box.alter = [first](std::uint64_t at, std::uint8_t*, lacuna_sector_state& s) {
    if (at == first + 3) s = LACUNA_SECTOR_UNREAD;
    if (at == first + 5) s = LACUNA_SECTOR_SUSPECT;
  };
  const COpened disc = box.open();
  const CFile file = find(disc, "PHOTO.JPG");
  const lacuna_extent* extents = nullptr;
  const lacuna_byte_run* gaps = nullptr;
  std::size_t count = 0;
  ASSERT_EQ(lacuna_file_extents(file.get(), &extents, &count, nullptr), LACUNA_OK);
  ASSERT_EQ(count, 1U);
  EXPECT_EQ(extents[0].position, first * 2048);
  EXPECT_EQ(extents[0].bytes, 60000U);
  ASSERT_EQ(lacuna_file_gaps(file.get(), &gaps, &count, nullptr), LACUNA_OK);
  ASSERT_EQ(count, 2U);
  EXPECT_EQ(gaps[0].offset, 3U * 2048);
  EXPECT_EQ(gaps[0].bytes, 2048U);
  EXPECT_EQ(gaps[0].state, static_cast<std::uint32_t>(LACUNA_SECTOR_UNREAD));
  EXPECT_EQ(gaps[1].offset, 5U * 2048);
  EXPECT_EQ(gaps[1].state, static_cast<std::uint32_t>(LACUNA_SECTOR_SUSPECT));
  const lacuna_file_info info = info_of(file);
  EXPECT_EQ(info.state, static_cast<lacuna_file_state>(LACUNA_FILE_DAMAGED));
  EXPECT_EQ(info.missing_bytes, 2048U);
  EXPECT_EQ(info.suspect_bytes, 2048U);
}

TEST(CFiles, DoubtsAreInWords) {
  CDisc box;
  box.alter = [lba = box.lba_of("LETTER.TXT;1")](std::uint64_t at, std::uint8_t*, lacuna_sector_state& s) {
    if (at == lba) s = LACUNA_SECTOR_SUSPECT;
  };
  const COpened disc = box.open();
  const CFile file = find(disc, "LETTER.TXT");
  EXPECT_EQ(info_of(file).state, static_cast<lacuna_file_state>(LACUNA_FILE_DOUBTFUL));
  const lacuna_string* doubts = nullptr;
  std::size_t count = 0;
  ASSERT_EQ(lacuna_file_doubts(file.get(), &doubts, &count, nullptr), LACUNA_OK);
  ASSERT_EQ(count, 1U);
  EXPECT_EQ(text_of(doubts[0]), "1 sector suspect, LBA " + std::to_string(box.lba_of("LETTER.TXT;1")));
  EXPECT_EQ(std::strlen(doubts[0].data), doubts[0].bytes);
}

TEST(CFiles, AreReadWithTheirStates) {
  CDisc box;
  const std::uint64_t first = box.lba_of("PHOTO.JPG;1");
  box.alter = [first](std::uint64_t at, std::uint8_t* bytes, lacuna_sector_state& s) {
    if (at == first + 3) {
      s = LACUNA_SECTOR_BAD;
      std::memset(bytes, 'x', 2048);  // of a sector that is bad nothing is given
    }
  };
  const COpened disc = box.open();
  std::string expected = content("photo", 60000);
  std::fill_n(expected.begin() + 3 * 2048, 2048, '\0');
  for (const std::size_t capacity : {64U, 3U, 2U, 1U}) {
    const WholeRead read = read_all(find(disc, "PHOTO.JPG"), capacity);
    EXPECT_EQ(read.bytes, expected);
    EXPECT_EQ(read.runs, "good 0+6144, bad 6144+2048, good 8192+51808") << capacity;
  }
}

TEST(CFiles, AStrictReadEndsBeforeAMissingByte) {
  CDisc box;
  box.alter = [lba = box.lba_of("PHOTO.JPG;1") + 3](std::uint64_t at, std::uint8_t*, lacuna_sector_state& s) {
    if (at == lba) s = LACUNA_SECTOR_BAD;
  };
  const COpened disc = box.open();
  const CFile file = find(disc, "PHOTO.JPG");
  std::string buffer(60000, '?');
  std::size_t got = 0;
  ASSERT_EQ(lacuna_file_read(file.get(), 100, buffer.data(), buffer.size(), &got, nullptr), LACUNA_OK);
  EXPECT_EQ(got, 3U * 2048 - 100);
  EXPECT_EQ(buffer.substr(0, got), content("photo", 60000).substr(100, got));
  lacuna_error* error = nullptr;
  EXPECT_EQ(lacuna_file_read(file.get(), 4U * 2048 - 1, buffer.data(), 10, &got, &error), LACUNA_MISSING_BYTES);
  EXPECT_EQ(message_of(CError(error)), "PHOTO.JPG: the byte at 8191 is missing (its sector is bad)");
  ASSERT_EQ(lacuna_file_read(file.get(), 4 * 2048, buffer.data(), buffer.size(), &got, nullptr), LACUNA_OK);
  EXPECT_EQ(got, 60000U - 4 * 2048);
  ASSERT_EQ(lacuna_file_read(file.get(), 60000, buffer.data(), 10, &got, nullptr), LACUNA_OK);
  EXPECT_EQ(got, 0U);
  ASSERT_EQ(lacuna_file_read(file.get(), UINT64_MAX, buffer.data(), 10, &got, nullptr), LACUNA_OK);
  EXPECT_EQ(got, 0U);
}

TEST(CFiles, OutliveTheirDisc) {
  CDisc box;
  CFile file;
  {
    const COpened disc = box.open();
    file = find(disc, "LETTER.TXT");
  }
  EXPECT_EQ(box.released, 0);
  EXPECT_EQ(read_all(file).bytes, content("letter", 5000));
  file.reset();
  EXPECT_EQ(box.released, 1);
}

TEST(CFiles, AreFoundFromC) {
  CDisc box;
  const ScratchFolder folder;
  const auto path = folder / "disc.iso";
  write_file(path, {reinterpret_cast<const char*>(box.bytes().data()), box.bytes().size()});
  std::uint64_t files = 0;
  EXPECT_EQ(open_from_c(path.c_str(), &files), LACUNA_OK);
  EXPECT_EQ(files, 3U);
  EXPECT_EQ(open_from_c("/nowhere/disc.iso", &files), LACUNA_NOT_READABLE);
}

}  // namespace
}  // namespace lacuna::test
