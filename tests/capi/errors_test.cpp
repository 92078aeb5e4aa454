// SPDX-License-Identifier: GPL-3.0-or-later
// Every code, and every use that is none: NULL, unknown numbers, struct sizes that can't be. (Out of memory has a test
// of its own.)
#include <fstream>
#include <stdexcept>

#include "c_disc.h"
#include "capi/guard.h"
#include "support/authoring.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;

lacuna_code open_path(const std::string& path, lacuna_error** error, const lacuna_image_options* options = nullptr) {
  const lacuna_string name = lacuna_text(path.c_str());
  lacuna_image* image = nullptr;
  const lacuna_code code = lacuna_image_open(&name, 1, options, &image, error);
  lacuna_image_free(image);
  return code;
}

TEST(CErrors, EachHasAText) {
  std::vector<std::string> texts;
  for (lacuna_code code = LACUNA_OK; code <= LACUNA_INTERNAL; ++code) texts.emplace_back(lacuna_error_text(code));
  std::sort(texts.begin(), texts.end());
  EXPECT_EQ(std::unique(texts.begin(), texts.end()), texts.end());
  for (const lacuna_code code : {-1, 12, INT32_MAX, INT32_MIN}) EXPECT_STREQ(lacuna_error_text(code), "unknown error");
}

TEST(CErrors, OfNoErrorAreEmpty) {
  EXPECT_EQ(lacuna_error_code(nullptr), LACUNA_OK);
  EXPECT_EQ(text_of(lacuna_error_message(nullptr)), "");
  EXPECT_EQ(lacuna_error_callback_code(nullptr), 0);
  lacuna_error_free(nullptr);
}

TEST(CErrors, NotReadableNamesTheFile) {
  lacuna_error* error = nullptr;
  EXPECT_EQ(open_path("/nowhere/disc.iso", &error), LACUNA_NOT_READABLE);
  EXPECT_EQ(lacuna_error_code(error), LACUNA_NOT_READABLE);
  EXPECT_THAT(message_of(CError(error)), HasSubstr("/nowhere/disc.iso"));
}

TEST(CErrors, NoFileSystem) {
  CDisc box;
  std::fill(box.bytes().begin(), box.bytes().end(), std::uint8_t{0});
  const CImage image = box.image();
  lacuna_disc* disc = nullptr;
  EXPECT_EQ(lacuna_disc_open(image.get(), nullptr, &disc, nullptr), LACUNA_NO_FILE_SYSTEM);
}

TEST(CErrors, BadInputNamesTheLine) {
  const ScratchFolder folder;
  write_file(folder / "disc.iso", std::string(40 * 2048, 'x'));
  write_file(folder / "disc.map", "1 1 good\n2 1 wonderful\n");
  const std::string map = (folder / "disc.map").string();
  const lacuna_string map_path = lacuna_text(map.c_str());
  auto options = sized<lacuna_image_options>();
  options.maps = &map_path;
  options.map_count = 1;
  lacuna_error* error = nullptr;
  EXPECT_EQ(open_path((folder / "disc.iso").string(), &error, &options), LACUNA_BAD_INPUT);
  EXPECT_THAT(message_of(CError(error)), HasSubstr("disc.map:2"));
}

TEST(CErrors, CannotWrite) {
  CDisc box;
  const COpened disc = box.open();
  const ScratchFolder folder;
  write_file(folder / "file", "x");
  const std::string to = (folder / "file").string();
  auto options = sized<lacuna_pull_options>();
  options.to = lacuna_text(to.c_str());
  lacuna_pull_report* report = nullptr;
  EXPECT_EQ(lacuna_disc_pull(disc.get(), &options, &report, nullptr), LACUNA_CANNOT_WRITE);
  EXPECT_EQ(report, nullptr);
}

std::int32_t give_number(void* user, lacuna_string, std::uint64_t, std::uint64_t) {
  return *static_cast<std::int32_t*>(user);
}

TEST(CErrors, AProgressFunctionCancelsOrFails) {
  CDisc box;
  const CImage image = box.image();
  auto options = sized<lacuna_disc_options>();
  std::int32_t number = 0;
  options.progress = give_number;
  options.progress_user = &number;
  lacuna_disc* disc = nullptr;
  ASSERT_EQ(lacuna_disc_open(image.get(), &options, &disc, nullptr), LACUNA_OK);
  const COpened owner(disc);
  number = LACUNA_CANCELLED;
  EXPECT_EQ(lacuna_disc_open(image.get(), &options, &disc, nullptr), LACUNA_CANCELLED);
  number = 4711;
  lacuna_error* error = nullptr;
  EXPECT_EQ(lacuna_disc_open(image.get(), &options, &disc, &error), LACUNA_CALLBACK_FAILED);
  EXPECT_EQ(lacuna_error_callback_code(error), 4711);
  lacuna_error_free(error);

  const ScratchFolder folder;
  const std::string to = (folder / "out").string();
  auto pulling = sized<lacuna_pull_options>();
  pulling.to = lacuna_text(to.c_str());
  pulling.progress = give_number;
  pulling.progress_user = &number;
  lacuna_pull_report* report = nullptr;
  EXPECT_EQ(lacuna_disc_pull(owner.get(), &pulling, &report, nullptr), LACUNA_CALLBACK_FAILED);
  number = LACUNA_CANCELLED;
  EXPECT_EQ(lacuna_disc_pull(owner.get(), &pulling, &report, nullptr), LACUNA_CANCELLED);
  number = 0;
  EXPECT_EQ(lacuna_disc_pull(owner.get(), &pulling, &report, nullptr), LACUNA_OK);
  lacuna_pull_report_free(report);
}

TEST(CErrors, AWriteFunctionFails) {
  CDisc box;
  const COpened disc = box.open();
  const auto write = [](void*, lacuna_string) { return std::int32_t{9}; };
  lacuna_error* error = nullptr;
  EXPECT_EQ(lacuna_disc_report(disc.get(), LACUNA_REPORT_FILES, LACUNA_FORMAT_JSON, write, nullptr, &error),
            LACUNA_CALLBACK_FAILED);
  EXPECT_EQ(lacuna_error_callback_code(error), 9);
  lacuna_error_free(error);
}

TEST(CErrors, NotFound) {
  CDisc box;
  const COpened disc = box.open();
  for (const char* path : {"", "/", "SUB/", "/LETTER.TXT", "LETTER.TXT/", "SUB/NONE", "NONE", "SUB//NOTE.TXT", ".."}) {
    lacuna_file* file = nullptr;
    EXPECT_EQ(lacuna_disc_find(disc.get(), lacuna_text(path), &file, nullptr), LACUNA_NOT_FOUND) << path;
  }
}

// No call is known to end so; what all calls go through turns anything that nobody foresaw into this.
TEST(CErrors, Internal) {
  lacuna_error* error = nullptr;
  EXPECT_EQ(capi::guarded(&error, [] { throw std::logic_error("nobody foresaw it"); }), LACUNA_INTERNAL);
  EXPECT_EQ(message_of(CError(error)), "nobody foresaw it");
  EXPECT_EQ(capi::guarded(nullptr, [] { throw 7; }), LACUNA_INTERNAL);
}

TEST(CErrors, ATextWithAnImpossibleLengthIsUsage) {
  CDisc box;
  const COpened disc = box.open();
  lacuna_file* file = nullptr;
  const lacuna_string endless{"x", SIZE_MAX};
  EXPECT_EQ(lacuna_disc_find(disc.get(), endless, &file, nullptr), LACUNA_USAGE);
}

TEST(CErrors, NullIsUsage) {
  CDisc box;
  const CImage image = box.image();
  const COpened disc = box.open();
  const CFile file = find(disc, "PHOTO.JPG");
  lacuna_image* i = nullptr;
  lacuna_disc* d = nullptr;
  lacuna_file* f = nullptr;
  lacuna_files* w = nullptr;
  lacuna_runs* r = nullptr;
  lacuna_pull_report* p = nullptr;
  std::uint8_t byte = 0;
  std::size_t n = 0;
  lacuna_byte_run run{};
  const lacuna_string path = lacuna_text("x"), nulls{nullptr, 3};
  const auto none = [](void*, lacuna_string) { return std::int32_t{0}; };
  const lacuna_code codes[] = {
      lacuna_image_open(nullptr, 1, nullptr, &i, nullptr),
      lacuna_image_open(&path, 0, nullptr, &i, nullptr),
      lacuna_image_open(&path, 1, nullptr, nullptr, nullptr),
      lacuna_image_open(&nulls, 1, nullptr, &i, nullptr),
      lacuna_image_from_source(nullptr, &i, nullptr),
      lacuna_image_get_info(nullptr, nullptr, nullptr),
      lacuna_image_get_info(image.get(), nullptr, nullptr),
      lacuna_image_finding(nullptr, 0, nullptr, nullptr),
      lacuna_image_read(nullptr, 0, 1, &byte, &byte, nullptr),
      lacuna_image_read(image.get(), 0, 1, nullptr, &byte, nullptr),
      lacuna_image_read(image.get(), 0, 1, &byte, nullptr, nullptr),
      lacuna_image_read(image.get(), 0, SIZE_MAX, &byte, &byte, nullptr),
      lacuna_image_runs(nullptr, 0, 1, &r, nullptr),
      lacuna_image_runs(image.get(), 0, 1, nullptr, nullptr),
      lacuna_image_runs(image.get(), 1, 0, &r, nullptr),
      lacuna_image_runs(image.get(), 0, UINT64_MAX, &r, nullptr),
      lacuna_disc_open(nullptr, nullptr, &d, nullptr),
      lacuna_disc_open(image.get(), nullptr, nullptr, nullptr),
      lacuna_disc_get_info(nullptr, nullptr, nullptr),
      lacuna_disc_get_info(disc.get(), nullptr, nullptr),
      lacuna_disc_volume(nullptr, 0, nullptr, nullptr),
      lacuna_disc_volume(disc.get(), 0, nullptr, nullptr),
      lacuna_disc_volume(disc.get(), 99, nullptr, nullptr),
      lacuna_disc_finding(nullptr, 0, nullptr, nullptr),
      lacuna_disc_runs(nullptr, 0, 1, &r, nullptr),
      lacuna_disc_report(nullptr, 0, 0, none, nullptr, nullptr),
      lacuna_disc_report(disc.get(), 0, 0, nullptr, nullptr, nullptr),
      lacuna_disc_report(disc.get(), 3, 0, none, nullptr, nullptr),
      lacuna_disc_report(disc.get(), 0, 4, none, nullptr, nullptr),
      lacuna_disc_files(nullptr, nullptr, &w, nullptr),
      lacuna_disc_files(disc.get(), nullptr, nullptr, nullptr),
      lacuna_files_next(nullptr, &f, nullptr),
      lacuna_disc_find(nullptr, path, &f, nullptr),
      lacuna_disc_find(disc.get(), path, nullptr, nullptr),
      lacuna_disc_find(disc.get(), nulls, &f, nullptr),
      lacuna_file_get_info(nullptr, nullptr, nullptr),
      lacuna_file_get_info(file.get(), nullptr, nullptr),
      lacuna_file_extents(nullptr, nullptr, nullptr, nullptr),
      lacuna_file_gaps(file.get(), nullptr, &n, nullptr),
      lacuna_file_doubts(file.get(), nullptr, &n, nullptr),
      lacuna_file_read(nullptr, 0, &byte, 1, &n, nullptr),
      lacuna_file_read(file.get(), 0, nullptr, 1, &n, nullptr),
      lacuna_file_read(file.get(), 0, &byte, 1, nullptr, nullptr),
      lacuna_file_read(find(disc, "SUB").get(), 0, &byte, 1, &n, nullptr),
      lacuna_file_read_runs(file.get(), 0, &byte, 1, &n, nullptr, 1, &n, nullptr),
      lacuna_file_read_runs(file.get(), 0, &byte, 1, &n, &run, 0, &n, nullptr),
      lacuna_file_read_runs(file.get(), 0, &byte, 1, &n, &run, 1, nullptr, nullptr),
      lacuna_disc_pull(nullptr, nullptr, &p, nullptr),
      lacuna_disc_pull(disc.get(), nullptr, &p, nullptr),
      lacuna_disc_pull(disc.get(), nullptr, nullptr, nullptr),
      lacuna_pull_report_get_info(nullptr, nullptr, nullptr),
      lacuna_pull_report_file(nullptr, 0, nullptr, nullptr),
      lacuna_pull_report_finding(nullptr, 0, nullptr, nullptr),
      lacuna_verify(path, nullptr, nullptr, nullptr),
  };
  for (std::size_t k = 0; k < std::size(codes); ++k) EXPECT_EQ(codes[k], LACUNA_USAGE) << "call " << k;
  EXPECT_EQ(text_of(lacuna_file_path(nullptr)), "");
  EXPECT_EQ(text_of(lacuna_disc_also_present(nullptr, 0)), "");
  EXPECT_EQ(lacuna_runs_count(nullptr), 0U);
  EXPECT_EQ(lacuna_runs_data(nullptr), nullptr);
  lacuna_image_free(nullptr);
  lacuna_disc_free(nullptr);
  lacuna_files_free(nullptr);
  lacuna_file_free(nullptr);
  lacuna_runs_free(nullptr);
  lacuna_pull_report_free(nullptr);
}

TEST(CErrors, APathWithANulIsUsage) {
  const lacuna_string path{"disc\0.iso", 9};
  lacuna_image* image = nullptr;
  EXPECT_EQ(lacuna_image_open(&path, 1, nullptr, &image, nullptr), LACUNA_USAGE);
}

TEST(CErrors, UnknownNumbersAreUsage) {
  CDisc box;
  const CImage image = box.image();
  const auto refused = [&](void (*change)(lacuna_disc_options&)) {
    auto options = sized<lacuna_disc_options>();
    change(options);
    lacuna_disc* disc = nullptr;
    return lacuna_disc_open(image.get(), &options, &disc, nullptr) == LACUNA_USAGE;
  };
  EXPECT_TRUE(refused([](lacuna_disc_options& o) { o.view = 6; }));
  EXPECT_TRUE(refused([](lacuna_disc_options& o) { o.view = UINT32_MAX; }));
  EXPECT_TRUE(refused([](lacuna_disc_options& o) { o.view = LACUNA_VIEW_UDF; }));  // the disc has none
  EXPECT_TRUE(refused([](lacuna_disc_options& o) { o.scan = 3; }));
  EXPECT_TRUE(refused([](lacuna_disc_options& o) { o.flags = 32; }));
  EXPECT_TRUE(refused([](lacuna_disc_options& o) { o.session = 9; }));
  EXPECT_TRUE(refused([](lacuna_disc_options& o) { o.session_start_count = 1; }));
  EXPECT_TRUE(refused([](lacuna_disc_options& o) {
    o.session = 1;
    o.flags = LACUNA_DISC_ALL_SESSIONS;
  }));
  const auto refused_source = [&](void (*change)(lacuna_source&)) {
    lacuna_source source = box.source();
    change(source);
    lacuna_image* out = nullptr;
    return lacuna_image_from_source(&source, &out, nullptr) == LACUNA_USAGE;
  };
  static const lacuna_sector_run kBadState[] = {{0, 1, 6, 0}}, kBeyond[] = {{1, UINT64_MAX, 0, 0}};
  EXPECT_TRUE(refused_source([](lacuna_source& s) { s.read = nullptr; }));
  EXPECT_TRUE(refused_source([](lacuna_source& s) { s.first_lba = s.end_lba; }));
  EXPECT_TRUE(refused_source([](lacuna_source& s) { s.end_lba = UINT64_MAX; }));
  EXPECT_TRUE(refused_source([](lacuna_source& s) { s.last_sector_bytes = 2049; }));
  EXPECT_TRUE(refused_source([](lacuna_source& s) { s.flags = 2; }));
  EXPECT_TRUE(refused_source([](lacuna_source& s) { s.known_count = 1; }));
  EXPECT_TRUE(refused_source([](lacuna_source& s) { s.known = kBadState, s.known_count = 1; }));
  EXPECT_TRUE(refused_source([](lacuna_source& s) { s.known = kBeyond, s.known_count = 1; }));
}

TEST(CStructs, SizesThatCanNotBeAreUsage) {
  CDisc box;
  const CImage image = box.image();
  const std::size_t own = sizeof(lacuna_disc_options);
  for (const std::size_t bytes : {std::size_t{0}, std::size_t{1}, std::size_t{4}, std::size_t{7}, own - 4, own + 4,
                                  std::size_t{1} << 20, SIZE_MAX, SIZE_MAX - 7}) {
    auto options = sized<lacuna_disc_options>();
    options.struct_bytes = bytes;
    lacuna_disc* disc = nullptr;
    EXPECT_EQ(lacuna_disc_open(image.get(), &options, &disc, nullptr), LACUNA_USAGE) << bytes;
    auto info = sized<lacuna_image_info>();
    info.struct_bytes = bytes;
    if (bytes != own - 4 && bytes != own + 4) {
      EXPECT_EQ(lacuna_image_get_info(image.get(), &info, nullptr), LACUNA_USAGE) << bytes;
    }
  }
}

TEST(CStructs, ShorterOnesOfOlderVersionsAreTaken) {
  CDisc box;
  const CImage image = box.image();
  auto options = sized<lacuna_disc_options>();
  options.flags = 0xFFFF;  // behind the end that is told: never looked at
  for (std::size_t bytes = sizeof(std::size_t); bytes <= offsetof(lacuna_disc_options, flags); bytes += 8) {
    options.struct_bytes = bytes;
    lacuna_disc* disc = nullptr;
    EXPECT_EQ(lacuna_disc_open(image.get(), &options, &disc, nullptr), LACUNA_OK) << bytes;
    lacuna_disc_free(disc);
  }
  auto info = sized<lacuna_image_info>();
  info.struct_bytes = offsetof(lacuna_image_info, end_lba);
  info.end_lba = 4711;
  ASSERT_EQ(lacuna_image_get_info(image.get(), &info, nullptr), LACUNA_OK);
  EXPECT_EQ(text_of(info.name), "memory");
  EXPECT_EQ(info.end_lba, 4711U) << "nothing is written behind the end";
}

TEST(CStructs, LongerOnesOfNewerVersionsAreTakenWhenTheyAskForNothingNew) {
  CDisc box;
  const CImage image = box.image();
  struct Newer {
    lacuna_disc_options known;
    std::uint64_t more[4];
  } options{};
  options.known.struct_bytes = sizeof options;
  lacuna_disc* disc = nullptr;
  ASSERT_EQ(lacuna_disc_open(image.get(), &options.known, &disc, nullptr), LACUNA_OK);
  lacuna_disc_free(disc);
  options.more[3] = 1;
  lacuna_error* error = nullptr;
  EXPECT_EQ(lacuna_disc_open(image.get(), &options.known, &disc, &error), LACUNA_USAGE);
  EXPECT_THAT(message_of(CError(error)), HasSubstr("lacuna_disc_options"));

  struct NewerInfo {
    lacuna_image_info known;
    std::uint64_t more[2];
  } info{};
  info.known.struct_bytes = sizeof info;
  info.more[0] = info.more[1] = UINT64_MAX;
  ASSERT_EQ(lacuna_image_get_info(image.get(), &info.known, nullptr), LACUNA_OK);
  EXPECT_EQ(info.more[0], 0U);
  EXPECT_EQ(info.more[1], 0U);
}

}  // namespace
}  // namespace lacuna::test
