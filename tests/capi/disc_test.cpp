// SPDX-License-Identifier: GPL-3.0-or-later
// What is told of images and discs, reports, and getting files out.
#include <filesystem>

#include "c_disc.h"
#include "lacuna/states.h"
#include "support/authoring.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;

TEST(CWords, AreThoseOfTheVocabulary) {
  EXPECT_EQ(text_of(lacuna_sector_state_word(LACUNA_SECTOR_REPAIRED)), "repaired");
  EXPECT_EQ(text_of(lacuna_file_state_word(LACUNA_FILE_UNLOCATED)), "unlocated");
  EXPECT_EQ(text_of(lacuna_view_word(LACUNA_VIEW_UDF)), "udf");
  EXPECT_EQ(text_of(lacuna_evidence_word(LACUNA_EVIDENCE_PATHTABLE)), "pathtable");
  EXPECT_EQ(text_of(lacuna_basis_word(LACUNA_BASIS_EDC)), "edc");
  EXPECT_EQ(text_of(lacuna_node_kind_word(LACUNA_NODE_SYMLINK)), "symlink");
  for (const std::uint32_t number : {6U, 7U, 255U, UINT32_MAX}) {
    EXPECT_EQ(text_of(lacuna_sector_state_word(number)), "") << number;
    EXPECT_EQ(text_of(lacuna_view_word(number)), "") << number;
  }
  EXPECT_EQ(text_of(lacuna_view_word(LACUNA_VIEW_ALL)), "");
}

TEST(CImages, TellWhatTheyAre) {
  CDisc box;
  const CImage image = box.image();
  auto info = sized<lacuna_image_info>();
  ASSERT_EQ(lacuna_image_get_info(image.get(), &info, nullptr), LACUNA_OK);
  EXPECT_EQ(text_of(info.name), "memory");
  EXPECT_EQ(info.first_lba, 0U);
  EXPECT_EQ(info.end_lba, box.end_lba());
  EXPECT_EQ(info.end_byte, box.end_lba() * 2048);
  EXPECT_EQ(info.has_map, 0U);
  EXPECT_EQ(info.basis, static_cast<lacuna_basis>(LACUNA_BASIS_ASSUMED));
}

TEST(CImages, GiveSectorsAndRuns) {
  CDisc box;
  const lacuna_sector_run known[] = {{4, 2, LACUNA_SECTOR_BAD, 0}};
  lacuna_source source = box.source();
  source.known = known;
  source.known_count = 1;
  const CImage image = CDisc::image_of(source);
  std::vector<std::uint8_t> bytes(4 * 2048, '?');
  std::vector<lacuna_sector_state> states(4);
  ASSERT_EQ(lacuna_image_read(image.get(), box.end_lba() - 2, 4, bytes.data(), states.data(), nullptr), LACUNA_OK);
  EXPECT_THAT(states, ::testing::ElementsAre(LACUNA_SECTOR_GOOD, LACUNA_SECTOR_GOOD, LACUNA_SECTOR_ABSENT,
                                             LACUNA_SECTOR_ABSENT));
  EXPECT_TRUE(std::equal(bytes.begin(), bytes.begin() + 2 * 2048, box.bytes().end() - 2 * 2048));
  EXPECT_TRUE(std::all_of(bytes.begin() + 2 * 2048, bytes.end(), [](std::uint8_t b) { return b == 0; }));

  lacuna_runs* runs = nullptr;
  ASSERT_EQ(lacuna_image_runs(image.get(), 0, box.end_lba() + 5, &runs, nullptr), LACUNA_OK);
  const CRuns owner(runs);
  ASSERT_EQ(lacuna_runs_count(runs), 4U);
  const lacuna_sector_run* const list = lacuna_runs_data(runs);
  EXPECT_EQ(list[1].first_lba, 4U);
  EXPECT_EQ(list[1].count, 2U);
  EXPECT_EQ(list[1].state, static_cast<std::uint32_t>(LACUNA_SECTOR_BAD));
  EXPECT_EQ(list[3].first_lba, box.end_lba());
  EXPECT_EQ(list[3].state, static_cast<std::uint32_t>(LACUNA_SECTOR_ABSENT));
}

TEST(CImages, TakeMapsAndAStart) {
  CDisc box;
  const ScratchFolder folder;
  write_file(folder / "disc.iso", {reinterpret_cast<const char*>(box.bytes().data()), box.bytes().size()});
  write_file(folder / "disc.map", "20 1 bad\n");
  const std::string iso = (folder / "disc.iso").string(), map = (folder / "disc.map").string();
  const lacuna_string path = lacuna_text(iso.c_str()), map_path = lacuna_text(map.c_str());
  auto options = sized<lacuna_image_options>();
  options.maps = &map_path;
  options.map_count = 1;
  options.starts_at_lba = 10;
  lacuna_image* image = nullptr;
  ASSERT_EQ(lacuna_image_open(&path, 1, &options, &image, nullptr), LACUNA_OK);
  const CImage owner(image);
  auto info = sized<lacuna_image_info>();
  ASSERT_EQ(lacuna_image_get_info(image, &info, nullptr), LACUNA_OK);
  EXPECT_EQ(info.first_lba, 10U);
  EXPECT_EQ(info.has_map, 1U);
  std::uint8_t bytes[2048];
  lacuna_sector_state state = LACUNA_SECTOR_GOOD;
  ASSERT_EQ(lacuna_image_read(image, 20, 1, bytes, &state, nullptr), LACUNA_OK);
  EXPECT_EQ(state, LACUNA_SECTOR_BAD);
}

TEST(CDiscs, TellWhatTheyAre) {
  CDisc box;
  box.alter = [lba = box.lba_of("PHOTO.JPG;1")](std::uint64_t at, std::uint8_t*, lacuna_sector_state& s) {
    if (at == lba) s = LACUNA_SECTOR_BAD;
  };
  const COpened disc = box.open();
  auto info = sized<lacuna_disc_info>();
  ASSERT_EQ(lacuna_disc_get_info(disc.get(), &info, nullptr), LACUNA_OK);
  EXPECT_EQ(info.states[LACUNA_FILE_WHOLE].files, 2U);
  EXPECT_EQ(info.states[LACUNA_FILE_WHOLE].bytes, 5300U);
  EXPECT_EQ(info.states[LACUNA_FILE_DAMAGED].files, 1U);
  EXPECT_EQ(info.states[LACUNA_FILE_DAMAGED].missing_bytes, 2048U);
  EXPECT_EQ(info.session_count, 1U);
  EXPECT_EQ(info.volume_count, 1U);
  EXPECT_EQ(info.main_volume, 0U);
  EXPECT_EQ(info.looked_inside, 1U);
  auto volume = sized<lacuna_volume>();
  ASSERT_EQ(lacuna_disc_volume(disc.get(), 0, &volume, nullptr), LACUNA_OK);
  EXPECT_EQ(text_of(volume.volume_id), "LACUNA_TEST");
  EXPECT_EQ(volume.descriptor_lba, 16U);
  EXPECT_EQ(volume.logical_block_bytes, 2048U);
  EXPECT_EQ(volume.view, static_cast<lacuna_view>(LACUNA_VIEW_ISO9660));
  EXPECT_EQ(volume.in_tree, 1U);
  EXPECT_EQ(text_of(lacuna_disc_also_present(disc.get(), info.also_present_count)), "");

  lacuna_runs* runs = nullptr;
  ASSERT_EQ(lacuna_disc_runs(disc.get(), 0, box.end_lba(), &runs, nullptr), LACUNA_OK);
  const CRuns owner(runs);
  EXPECT_EQ(lacuna_runs_count(runs), 3U);
}

TEST(CDiscs, FindingsAreGivenOneByOne) {
  CDisc box;
  // Both halves of a both-endian field no longer agree (ECMA-119 8.4.8, volume space size at byte 81 of the
  // descriptor).
  box.bytes()[16 * 2048 + 80] ^= 1;
  const COpened disc = box.open();
  auto info = sized<lacuna_disc_info>();
  ASSERT_EQ(lacuna_disc_get_info(disc.get(), &info, nullptr), LACUNA_OK);
  ASSERT_GE(info.finding_count, 1U);
  auto finding = sized<lacuna_finding>();
  ASSERT_EQ(lacuna_disc_finding(disc.get(), 0, &finding, nullptr), LACUNA_OK);
  EXPECT_NE(text_of(finding.kind), "");
  EXPECT_NE(text_of(finding.text), "");
  EXPECT_EQ(lacuna_disc_finding(disc.get(), info.finding_count, &finding, nullptr), LACUNA_USAGE);
}

std::string report(const COpened& disc, std::uint32_t which, std::uint32_t format) {
  std::string out;
  const auto write = [](void* user, lacuna_string piece) {
    static_cast<std::string*>(user)->append(piece.data, piece.bytes);
    return std::int32_t{0};
  };
  EXPECT_EQ(lacuna_disc_report(disc.get(), which, format, write, &out, nullptr), LACUNA_OK);
  return out;
}

TEST(CDiscs, ReportWhatTheCommandReports) {
  CDisc box;
  const COpened disc = box.open();
  EXPECT_THAT(report(disc, LACUNA_REPORT_SURVEY, LACUNA_FORMAT_JSON), HasSubstr("\"lacuna/survey/1\""));
  EXPECT_THAT(report(disc, LACUNA_REPORT_FILES, LACUNA_FORMAT_NDJSON), HasSubstr("\"SUB/NOTE.TXT\""));
  EXPECT_THAT(report(disc, LACUNA_REPORT_HITS, LACUNA_FORMAT_JSON), HasSubstr("\"lacuna/hits/1\""));
  EXPECT_THAT(report(disc, LACUNA_REPORT_SURVEY, LACUNA_FORMAT_TEXT), HasSubstr("LACUNA_TEST"));
}

TEST(CPull, WritesFilesAndSaysWhatBecameOfEach) {
  CDisc box;
  box.alter = [lba = box.lba_of("PHOTO.JPG;1")](std::uint64_t at, std::uint8_t*, lacuna_sector_state& s) {
    if (at == lba) s = LACUNA_SECTOR_BAD;
  };
  const COpened disc = box.open();
  const ScratchFolder folder;
  const std::string to = (folder / "out").string();
  auto options = sized<lacuna_pull_options>();
  options.to = lacuna_text(to.c_str());
  lacuna_pull_report* given = nullptr;
  lacuna_error* error = nullptr;
  ASSERT_EQ(lacuna_disc_pull(disc.get(), &options, &given, &error), LACUNA_OK) << message_of(CError(error));
  const CReport owner(given);
  auto info = sized<lacuna_pull_info>();
  ASSERT_EQ(lacuna_pull_report_get_info(given, &info, nullptr), LACUNA_OK);
  EXPECT_EQ(info.file_count, 3U);
  EXPECT_EQ(info.outcomes[LACUNA_OUTCOME_PULLED], 2U);
  EXPECT_EQ(info.outcomes[LACUNA_OUTCOME_LEFT_DAMAGED], 1U);
  EXPECT_EQ(info.bytes_written, 5300U);
  auto file = sized<lacuna_pulled_file>();
  ASSERT_EQ(lacuna_pull_report_file(given, 1, &file, nullptr), LACUNA_OK);
  EXPECT_EQ(text_of(file.path), "PHOTO.JPG");
  EXPECT_EQ(text_of(file.target), "");
  EXPECT_EQ(text_of(file.why), "2048 bytes are missing");
  EXPECT_EQ(file.state, static_cast<lacuna_file_state>(LACUNA_FILE_DAMAGED));
  EXPECT_EQ(lacuna_pull_report_file(given, 3, &file, nullptr), LACUNA_USAGE);
  const std::vector<std::uint8_t> letter = read_file(folder.path() / "out" / "LETTER.TXT");
  EXPECT_EQ(std::string(letter.begin(), letter.end()), content("letter", 5000));

  // It is verified; then one file is changed.
  auto verified = sized<lacuna_verify_info>();
  ASSERT_EQ(lacuna_verify(options.to, nullptr, &verified, nullptr), LACUNA_OK);
  EXPECT_EQ(verified.files_right, 2U);
  EXPECT_EQ(verified.problem_count, 0U);
  EXPECT_EQ(verified.not_whole, 1U);
  std::filesystem::remove(folder.path() / "out" / "LETTER.TXT");
  std::string problems;
  auto verifying = sized<lacuna_verify_options>();
  verifying.problem_user = &problems;
  verifying.problem = [](void* user, lacuna_string kind, lacuna_string path, lacuna_string) {
    static_cast<std::string*>(user)->append(text_of(kind)).append(" ").append(text_of(path));
    return std::int32_t{0};
  };
  ASSERT_EQ(lacuna_verify(options.to, &verifying, &verified, nullptr), LACUNA_OK);
  EXPECT_EQ(problems, "missing LETTER.TXT");

  // Pulled again, with the damaged file.
  options.flags = LACUNA_PULL_DAMAGED;
  ASSERT_EQ(lacuna_disc_pull(disc.get(), &options, &given, &error), LACUNA_OK) << message_of(CError(error));
  const CReport second(given);
  ASSERT_EQ(lacuna_pull_report_get_info(given, &info, nullptr), LACUNA_OK);
  EXPECT_EQ(info.outcomes[LACUNA_OUTCOME_PULLED], 2U);
  EXPECT_EQ(info.outcomes[LACUNA_OUTCOME_ALREADY_THERE], 1U);
  EXPECT_TRUE(std::filesystem::exists(folder.path() / "out" / "_damaged" / "PHOTO.JPG"));
}

TEST(CPull, ArrangesStoresOnceAndMakesABag) {
  CDisc box;
  const COpened disc = box.open();
  const ScratchFolder folder;
  const std::string to = (folder / "bag").string();
  auto options = sized<lacuna_pull_options>();
  options.to = lacuna_text(to.c_str());
  options.flags = LACUNA_PULL_BAG | LACUNA_PULL_ONCE;
  options.arrangement = LACUNA_ARRANGE_KIND;
  const lacuna_string element = lacuna_text("Source-Organization: The harbour museum");
  options.bag_elements = &element;
  options.bag_element_count = 1;
  lacuna_pull_report* given = nullptr;
  lacuna_error* error = nullptr;
  ASSERT_EQ(lacuna_disc_pull(disc.get(), &options, &given, &error), LACUNA_OK) << message_of(CError(error));
  const CReport owner(given);
  auto info = sized<lacuna_pull_info>();
  ASSERT_EQ(lacuna_pull_report_get_info(given, &info, nullptr), LACUNA_OK);
  EXPECT_EQ(info.bag_closed, 1U);
  EXPECT_TRUE(std::filesystem::exists(folder.path() / "bag" / "bagit.txt"));
  EXPECT_TRUE(std::filesystem::exists(folder.path() / "bag" / "data" / "photos" / "PHOTO.JPG"));
  const std::vector<std::uint8_t> about = read_file(folder.path() / "bag" / "bag-info.txt");
  EXPECT_THAT(std::string(about.begin(), about.end()), HasSubstr("Source-Organization: The harbour museum\n"));

  options.arrangement = 4;
  EXPECT_EQ(lacuna_disc_pull(disc.get(), &options, &given, nullptr), LACUNA_USAGE);
  options.arrangement = LACUNA_ARRANGE_KIND;
  options.bag_elements = nullptr;
  EXPECT_EQ(lacuna_disc_pull(disc.get(), &options, &given, nullptr), LACUNA_USAGE);
  const lacuna_string broken = lacuna_text("no colon");
  options.bag_elements = &broken;
  EXPECT_EQ(lacuna_disc_pull(disc.get(), &options, &given, nullptr), LACUNA_USAGE);
}

}  // namespace
}  // namespace lacuna::test
