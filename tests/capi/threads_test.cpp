// SPDX-License-Identifier: GPL-3.0-or-later
// Eight threads over one disc, through one handle and through handles of their own. Worth most under a thread
// sanitizer.
#include <thread>

#include "c_disc.h"

namespace lacuna::test {
namespace {

constexpr int kThreads = 8;

class CThreads : public ::testing::Test {
 protected:
  CThreads() {
    box_.alter = [lba = box_.lba_of("PHOTO.JPG;1") + 3](std::uint64_t at, std::uint8_t*, lacuna_sector_state& s) {
      if (at == lba) s = LACUNA_SECTOR_BAD;
    };
    disc_ = box_.open();
    photo_ = content("photo", 60000);
    std::fill_n(photo_.begin() + 3 * 2048, 2048, '\0');
  }

  void check_photo(const CFile& file, unsigned step) const {
    std::string got(60000, '?');
    std::vector<lacuna_byte_run> runs(4);
    for (std::uint64_t at = 0; at < got.size();) {
      std::size_t bytes = 0, count = 0;
      ASSERT_EQ(lacuna_file_read_runs(file.get(), at, got.data() + at, std::min<std::size_t>(step, got.size() - at),
                                      &bytes, runs.data(), runs.size(), &count, nullptr),
                LACUNA_OK);
      for (std::size_t i = 0; i < count; ++i) {
        const bool missing = runs[i].offset >= 3 * 2048 && runs[i].offset < 4 * 2048;
        ASSERT_EQ(runs[i].state, static_cast<std::uint32_t>(missing ? LACUNA_SECTOR_BAD : LACUNA_SECTOR_GOOD));
      }
      at += bytes;
    }
    EXPECT_EQ(got, photo_);
  }

  template <class Work>
  static void on_all(Work&& work) {
    std::vector<std::jthread> threads;
    for (int t = 0; t < kThreads; ++t) threads.emplace_back([&work, t] { work(static_cast<unsigned>(t)); });
  }

  CDisc box_;
  COpened disc_;
  std::string photo_;
};

TEST_F(CThreads, EachWithAHandleOfItsOwn) {
  on_all([&](unsigned t) {
    for (unsigned round = 0; round < 5; ++round) check_photo(find(disc_, "PHOTO.JPG"), 700 + 911 * t);
  });
}

TEST_F(CThreads, AllThroughOneHandle) {
  const CFile file = find(disc_, "PHOTO.JPG");
  on_all([&](unsigned t) {
    check_photo(file, 3000 + 1000 * t);
    const lacuna_byte_run* gaps = nullptr;
    const lacuna_extent* extents = nullptr;
    const lacuna_string* doubts = nullptr;
    std::size_t count = 0;
    EXPECT_EQ(lacuna_file_gaps(file.get(), &gaps, &count, nullptr), LACUNA_OK);
    EXPECT_EQ(count, 1U);
    EXPECT_EQ(gaps[0].offset, 3U * 2048);
    EXPECT_EQ(lacuna_file_extents(file.get(), &extents, &count, nullptr), LACUNA_OK);
    EXPECT_EQ(count, 1U);
    EXPECT_EQ(lacuna_file_doubts(file.get(), &doubts, &count, nullptr), LACUNA_OK);
  });
}

TEST_F(CThreads, WalkReportAndFailSideBySide) {
  on_all([&](unsigned) {
    lacuna_files* walk = nullptr;
    ASSERT_EQ(lacuna_disc_files(disc_.get(), nullptr, &walk, nullptr), LACUNA_OK);
    const CFiles owner(walk);
    int files = 0;
    for (;;) {
      lacuna_file* next = nullptr;
      ASSERT_EQ(lacuna_files_next(walk, &next, nullptr), LACUNA_OK);
      if (next == nullptr) break;
      ++files;
      lacuna_file_free(next);
    }
    EXPECT_EQ(files, 3);
    lacuna_file* none = nullptr;
    lacuna_error* error = nullptr;
    EXPECT_EQ(lacuna_disc_find(disc_.get(), lacuna_text("NONE"), &none, &error), LACUNA_NOT_FOUND);
    EXPECT_EQ(message_of(CError(error)), "the disc has no 'NONE'");
    std::uint64_t bytes = 0;
    const auto write = [](void* user, lacuna_string piece) {
      *static_cast<std::uint64_t*>(user) += piece.bytes;
      return std::int32_t{0};
    };
    EXPECT_EQ(lacuna_disc_report(disc_.get(), LACUNA_REPORT_SURVEY, LACUNA_FORMAT_JSON, write, &bytes, nullptr),
              LACUNA_OK);
    EXPECT_GT(bytes, 100U);
  });
}

TEST_F(CThreads, OpenSideBySide) {
  const CImage image = box_.image();
  on_all([&](unsigned) {
    const COpened disc = CDisc::open_image(image);
    auto info = sized<lacuna_disc_info>();
    EXPECT_EQ(lacuna_disc_get_info(disc.get(), &info, nullptr), LACUNA_OK);
    EXPECT_EQ(info.states[LACUNA_FILE_WHOLE].files, 2U);
  });
}

}  // namespace
}  // namespace lacuna::test
