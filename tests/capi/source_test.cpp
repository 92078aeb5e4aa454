// SPDX-License-Identifier: GPL-3.0-or-later
// Sources of the caller's own that lie, fail, stop in the middle, and are released in time.
#include <mutex>
#include <thread>

#include "c_disc.h"

namespace lacuna::test {
namespace {

/// What a file is worth, and its bytes, when the source does `alter` to its third sector.
std::string photo_when(lacuna_sector_state given, const char* expected_state) {
  CDisc box;
  const std::uint64_t lba = box.lba_of("PHOTO.JPG;1") + 2;
  box.alter = [lba, given](std::uint64_t at, std::uint8_t*, lacuna_sector_state& s) {
    if (at == lba) s = given;
  };
  const COpened disc = box.open();
  const CFile file = find(disc, "PHOTO.JPG");
  EXPECT_EQ(text_of(lacuna_file_state_word(info_of(file).state)), expected_state) << int{given};
  return read_all(file).runs;
}

TEST(CallerSource, EveryStateCounts) {
  EXPECT_EQ(photo_when(LACUNA_SECTOR_GOOD, "whole"), "good 0+60000");
  EXPECT_EQ(photo_when(LACUNA_SECTOR_REPAIRED, "whole"), "good 0+60000");
  EXPECT_EQ(photo_when(LACUNA_SECTOR_SUSPECT, "doubtful"), "good 0+4096, suspect 4096+2048, good 6144+53856");
  EXPECT_EQ(photo_when(LACUNA_SECTOR_BAD, "damaged"), "good 0+4096, bad 4096+2048, good 6144+53856");
  EXPECT_EQ(photo_when(LACUNA_SECTOR_UNREAD, "damaged"), "good 0+4096, unread 4096+2048, good 6144+53856");
  EXPECT_EQ(photo_when(LACUNA_SECTOR_ABSENT, "damaged"), "good 0+4096, absent 4096+2048, good 6144+53856");
}

TEST(CallerSource, AStateThatThereIsNotIsBad) {
  for (const int given : {6, 7, 128, 255}) {
    EXPECT_EQ(photo_when(static_cast<lacuna_sector_state>(given), "damaged"),
              "good 0+4096, bad 4096+2048, good 6144+53856");
  }
}

TEST(CallerSource, SectorsThatAShortReadLeavesAloneAreBad) {
  CDisc box;
  lacuna_source source = box.source();
  source.read = [](void* user, std::uint64_t lba, std::size_t count, std::uint8_t* bytes, lacuna_sector_state* states) {
    CDisc& self = *static_cast<CDisc*>(user);
    // Past the third sector of the photo nothing is given, and no failure told.
    const std::uint64_t end = self.lba_of("PHOTO.JPG;1") + 3;
    for (std::size_t i = 0; i < count && lba + i < end; ++i) {
      std::memcpy(bytes + i * 2048, self.bytes().data() + (lba + i) * 2048, 2048);
      states[i] = LACUNA_SECTOR_GOOD;
    }
    return std::int32_t{0};
  };
  const COpened disc = CDisc::open_image(CDisc::image_of(source));
  EXPECT_EQ(read_all(find(disc, "PHOTO.JPG")).runs, "good 0+6144, bad 6144+53856");
  EXPECT_EQ(info_of(find(disc, "LETTER.TXT")).state, static_cast<lacuna_file_state>(LACUNA_FILE_WHOLE));
}

TEST(CallerSource, WhatIsKnownAheadIsAMap) {
  CDisc box;
  const std::uint64_t lba = box.lba_of("PHOTO.JPG;1");
  const lacuna_sector_run known[] = {{0, box.end_lba(), LACUNA_SECTOR_GOOD, 0}, {lba + 1, 2, LACUNA_SECTOR_UNREAD, 0}};
  lacuna_source source = box.source();
  source.known = known;
  source.known_count = 2;
  const COpened disc = CDisc::open_image(CDisc::image_of(source));
  EXPECT_EQ(read_all(find(disc, "PHOTO.JPG")).runs, "good 0+2048, unread 2048+4096, good 6144+53856");
  EXPECT_EQ(info_of(find(disc, "LETTER.TXT")).basis, static_cast<lacuna_basis>(LACUNA_BASIS_MAP));
}

TEST(CallerSource, AReadThatFailsEndsTheCallAndNothingIsConcluded) {
  CDisc box;
  const COpened disc = box.open();
  const CFile file = find(disc, "PHOTO.JPG");
  box.answer = [](std::uint64_t, std::size_t) { return 77; };
  std::string buffer(60000, '?');
  std::size_t got = 0;
  lacuna_error* error = nullptr;
  EXPECT_EQ(lacuna_file_read(file.get(), 0, buffer.data(), buffer.size(), &got, &error), LACUNA_CALLBACK_FAILED);
  EXPECT_EQ(lacuna_error_callback_code(error), 77);
  EXPECT_EQ(message_of(CError(error)), "a callback gave 77");
  lacuna_disc* second = nullptr;
  const CImage image = box.image();
  EXPECT_EQ(lacuna_disc_open(image.get(), nullptr, &second, nullptr), LACUNA_CALLBACK_FAILED);
  EXPECT_EQ(second, nullptr);

  box.answer = [](std::uint64_t, std::size_t) { return LACUNA_CANCELLED; };
  EXPECT_EQ(lacuna_file_read(file.get(), 0, buffer.data(), buffer.size(), &got, nullptr), LACUNA_CANCELLED);

  box.answer = nullptr;
  ASSERT_EQ(lacuna_file_read(file.get(), 0, buffer.data(), buffer.size(), &got, nullptr), LACUNA_OK);
  EXPECT_EQ(got, 60000U);
  EXPECT_EQ(buffer, content("photo", 60000));
}

TEST(CallerSource, EveryReadOfOpeningMayFail) {
  CDisc box;
  const CImage whole = box.image();
  ASSERT_NE(CDisc::open_image(whole), nullptr);
  const int reads = box.reads;
  ASSERT_GT(reads, 3);
  for (int n = 1; n <= reads; ++n) {
    const CImage image = box.image();
    std::atomic<int> left{n};
    box.answer = [&](std::uint64_t, std::size_t) { return --left == 0 ? -5 : 0; };
    auto options = sized<lacuna_disc_options>();
    options.threads = 3;
    lacuna_disc* disc = nullptr;
    lacuna_error* error = nullptr;
    const lacuna_code code = lacuna_disc_open(image.get(), &options, &disc, &error);
    const COpened disc_owner(disc);
    const CError owner(error);
    if (left > 0) continue;  // it took fewer reads this time
    EXPECT_EQ(code, LACUNA_CALLBACK_FAILED) << n;
    EXPECT_EQ(lacuna_error_callback_code(error), -5) << n;
    // The same image reads well afterwards: nothing was learned from what failed.
    box.answer = nullptr;
    const COpened again = CDisc::open_image(image);
    auto info = sized<lacuna_disc_info>();
    ASSERT_EQ(lacuna_disc_get_info(again.get(), &info, nullptr), LACUNA_OK);
    EXPECT_EQ(info.states[LACUNA_FILE_WHOLE].files, 3U) << n;
  }
}

TEST(CallerSource, AnExceptionOfACallbackIsAFailure) {
  CDisc box;
  const CImage image = box.image();
  box.answer = [](std::uint64_t, std::size_t) -> std::int32_t { throw 1; };
  lacuna_disc* disc = nullptr;
  lacuna_error* error = nullptr;
  EXPECT_EQ(lacuna_disc_open(image.get(), nullptr, &disc, &error), LACUNA_CALLBACK_FAILED);
  EXPECT_EQ(lacuna_error_callback_code(error), -1);
  lacuna_error_free(error);
}

TEST(CallerSource, TheLastSectorMayBeCut) {
  CDisc box;
  lacuna_source source = box.source();
  source.last_sector_bytes = 100;
  const CImage image = CDisc::image_of(source);
  auto info = sized<lacuna_image_info>();
  ASSERT_EQ(lacuna_image_get_info(image.get(), &info, nullptr), LACUNA_OK);
  EXPECT_EQ(info.end_byte, (box.end_lba() - 1) * 2048 + 100);
  EXPECT_EQ(info.finding_count, 1U);
  auto finding = sized<lacuna_finding>();
  ASSERT_EQ(lacuna_image_finding(image.get(), 0, &finding, nullptr), LACUNA_OK);
  EXPECT_EQ(text_of(finding.kind), "cut-in-sector");
}

TEST(CallerSource, IsReleasedOnceAndOnlyWhenTaken) {
  CDisc box;
  lacuna_source source = box.source();
  source.end_lba = 0;
  lacuna_image* image = nullptr;
  EXPECT_EQ(lacuna_image_from_source(&source, &image, nullptr), LACUNA_USAGE);
  EXPECT_EQ(image, nullptr);
  EXPECT_EQ(box.released, 0);
  { const CImage taken = box.image(); }
  EXPECT_EQ(box.released, 1);
}

TEST(CallerSource, OneAtATimeIsOneAtATime) {
  CDisc box;
  std::atomic<int> inside{0}, most{0};
  box.answer = [&](std::uint64_t, std::size_t) {
    most = std::max<int>(most, ++inside);
    std::this_thread::yield();
    --inside;
    return 0;
  };
  lacuna_source source = box.source();
  source.flags = LACUNA_SOURCE_ONE_AT_A_TIME;
  const CImage image = CDisc::image_of(source);
  std::vector<std::jthread> threads;
  for (int t = 0; t < 8; ++t) {
    threads.emplace_back([&] {
      std::vector<std::uint8_t> bytes(2048);
      lacuna_sector_state state = LACUNA_SECTOR_BAD;
      for (std::uint64_t i = 0; i < 50; ++i) lacuna_image_read(image.get(), i, 1, bytes.data(), &state, nullptr);
    });
  }
  threads.clear();
  EXPECT_EQ(most, 1);
}

}  // namespace
}  // namespace lacuna::test
