// SPDX-License-Identifier: GPL-3.0-or-later
// Images of whole CD sectors: recognised, proven, repaired, put in their places. The sectors are made by an independent
// encoder (support/raw_encoder.h, ECMA-130).
#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>

#include "support/memory_image.h"
#include "support/raw_disc.h"

namespace lacuna::test {
namespace {

constexpr std::uint64_t kCount = 60;

/// User data of sector `lba` as read; empty when it has none.
std::vector<std::uint8_t> user_data(const Image& image, std::uint64_t lba) {
  std::vector<std::uint8_t> bytes(kSectorBytes);
  std::array<SectorState, 1> state;
  image.read(lba, bytes, state);
  return has_bytes(state[0]) ? bytes : std::vector<std::uint8_t>();
}

/// Every sector that is there holds the data that belongs to its LBA.
void expect_in_place(const Image& image, std::uint64_t first_lba = 0) {
  const SectorMap states = image.data_states();
  for (std::uint64_t lba = image.first_lba(); lba < image.end_lba(); ++lba) {
    const auto data = user_data(image, lba);
    EXPECT_EQ(has_bytes(states.at(lba)), !data.empty()) << lba;
    if (data.empty() || lba < first_lba) continue;
    EXPECT_EQ(data, numbered_sector(lba - first_lba)) << lba;
  }
}

std::vector<std::string> kinds(const Image& image) {
  std::vector<std::string> all;
  for (const Finding& f : image.findings().list()) all.push_back(f.kind);
  return all;
}

RawDisc mode_1(std::uint32_t unit_bytes = kRawSectorBytes) {
  return RawDisc(unit_bytes).add(SectorForm::kMode1, numbered_sectors(kCount));
}

struct Layout {
  const char* name;
  SectorForm form;
  std::uint32_t unit_bytes;
};

class RawLayouts : public ::testing::TestWithParam<Layout> {};

TEST_P(RawLayouts, EverySectorIsProvenAndReadsAsItsPlainTwin) {
  const ScratchFolder folder;
  RawDisc disc(GetParam().unit_bytes);
  disc.add(GetParam().form, numbered_sectors(kCount));
  const auto image = open_image(disc.write(folder));
  ASSERT_NE(image, nullptr);
  EXPECT_EQ(states_text(*image), "good 0-59");
  // Without headers nothing proves that no sector is missing in between.
  const bool placed = GetParam().unit_bytes >= kRawSectorBytes;
  EXPECT_EQ(image->basis(), placed ? Basis::kEdc : Basis::kAssumed);
  EXPECT_EQ(image->unproven().empty(), placed);
  EXPECT_EQ(image->has_map(), placed);
  ASSERT_NE(image->raw(), nullptr);
  EXPECT_EQ(image->raw()->of_form(GetParam().form).total(), kCount);
  EXPECT_THAT(kinds(*image), ::testing::IsEmpty());
  expect_in_place(*image);
  ASSERT_EQ(image->raw()->tracks().size(), 1U);
  EXPECT_FALSE(image->raw()->tracks()[0].audio);
  std::vector<std::uint8_t> whole(kRawSectorBytes);
  std::array<SectorState, 1> state;
  image->raw()->read_raw(7, whole, state);
  EXPECT_EQ(state[0], SectorState::kGood);
  const RawSector made = encode_raw(GetParam().form, 7, numbered_sector(7));
  EXPECT_TRUE(std::ranges::equal(whole, made));
}

INSTANTIATE_TEST_SUITE_P(All, RawLayouts,
                         ::testing::Values(Layout{"mode_1", SectorForm::kMode1, 2352},
                                           Layout{"form_1", SectorForm::kForm1, 2352},
                                           Layout{"form_1_without_header", SectorForm::kForm1, 2336},
                                           Layout{"with_q_subchannel", SectorForm::kMode1, 2368},
                                           Layout{"with_subchannels", SectorForm::kMode1, 2448},
                                           Layout{"form_1_with_subchannels", SectorForm::kForm1, 2448},
                                           Layout{"with_error_pointers", SectorForm::kMode1, 2646},
                                           Layout{"with_all", SectorForm::kMode1, 2742}),
                         [](const auto& p) { return p.param.name; });

TEST(RawSource, BytesBeforeTheFirstSector) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  disc.insert(0, 1234, 0x55);
  const auto image = open_image(disc.write(folder));
  expect_in_place(*image);
  EXPECT_EQ(states_text(*image), "good 0-59");
}

TEST(RawSource, ScrambledSectors) {
  const ScratchFolder folder;
  const auto image = open_image(mode_1().scramble().write(folder));
  EXPECT_EQ(states_text(*image), "good 0-59");
  EXPECT_EQ(image->basis(), Basis::kEdc);
  expect_in_place(*image);
}

TEST(RawSource, AddressesAreThoseOfTheHeaders) {
  const ScratchFolder folder;
  RawDisc disc;
  disc.go_to(11702).add(SectorForm::kMode1, numbered_sectors(kCount));
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(image->first_lba(), 11702U);
  EXPECT_EQ(states_text(*image), "good 11702-11761");
  expect_in_place(*image, 11702);
}

TEST(RawSource, APregapHasNoLba) {
  const ScratchFolder folder;
  RawDisc disc;
  disc.go_to(-150).add(SectorForm::kMode1, std::vector<std::uint8_t>(150 * kSectorBytes));
  disc.add(SectorForm::kMode1, numbered_sectors(kCount));
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(states_text(*image), "good 0-59");
  expect_in_place(*image);
}

// ---- bytes lost and gained

TEST(RawSource, LostBytesMidway) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  disc.remove(40 * 2352 + 1000, 100);
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(states_text(*image), "good 0-39, absent 40, good 41-59");
  EXPECT_THAT(kinds(*image), ::testing::ElementsAre("sectors-slipped"));
  expect_in_place(*image);
}

TEST(RawSource, GainedBytesMidway) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  disc.insert(40 * 2352, 77, 0xee);
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(states_text(*image), "good 0-59");
  EXPECT_THAT(kinds(*image), ::testing::ElementsAre("sectors-slipped"));
  expect_in_place(*image);
}

TEST(RawSource, LostSectorsMidway) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  disc.remove(40 * 2352, 3 * 2352);
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(states_text(*image), "good 0-39, absent 40-42, good 43-59");
  expect_in_place(*image);
}

TEST(RawSource, SectorsThereTwice) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  const std::vector<std::uint8_t> again(disc.bytes.begin() + 35 * 2352, disc.bytes.begin() + 40 * 2352);
  disc.bytes.insert(disc.bytes.begin() + 40 * 2352, again.begin(), again.end());
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(states_text(*image), "good 0-59");
  expect_in_place(*image);
}

TEST(RawSource, ManySlips) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  for (const std::uint64_t sector : {50U, 30U, 29U, 10U}) disc.remove(sector * 2352 + 2000, 7 + sector);
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(states_text(*image), "good 0-9, absent 10, good 11-28, bad 29, absent 30, good 31-49, absent 50, good 51-59");
  expect_in_place(*image);
}

TEST(RawSource, WithoutHeadersASlipIsAnEstimate) {
  const ScratchFolder folder;
  RawDisc disc(2336);
  disc.add(SectorForm::kForm1, numbered_sectors(kCount));
  disc.remove(40 * 2336 + 1000, 100);
  disc.bytes.resize(59 * 2336);
  const auto image = open_image(disc.write(folder));
  const SectorMap states = image->states();
  EXPECT_EQ(states.at(39), SectorState::kGood);
  EXPECT_EQ(states.at(45), SectorState::kSuspect) << states_text(*image);
  EXPECT_THAT(kinds(*image), ::testing::Contains("sectors-slipped"));
}

// ---- damage

TEST(RawSource, FewWrongBytesAreRepairedManyAreBad) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  for (std::size_t i = 0; i < 20; ++i) disc.unit(11)[500 + i] ^= 0x5a;
  for (std::size_t i = 0; i < 1000; ++i) disc.unit(12)[500 + i] ^= 0x5a;
  disc.unit(13)[3] ^= 1;     // sync
  disc.unit(14)[12] = 0x99;  // header
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(image->states().at(11), SectorState::kRepaired);
  EXPECT_EQ(image->states().at(12), SectorState::kBad);
  EXPECT_LE(image->states().at(13), SectorState::kRepaired);
  EXPECT_EQ(image->states().at(14), SectorState::kRepaired);
  EXPECT_EQ(image->basis(), Basis::kEdc);
  expect_in_place(*image);
}

TEST(RawSource, ErrorPointersSayWhichBytesAreWrong) {
  const ScratchFolder folder;
  RawDisc disc = mode_1(2646);
  // 60 bytes: too many for one wrong byte a codeword, not when their places are known.
  for (std::size_t i = 0; i < 160; ++i) disc.unit(20)[300 + i] ^= 0x33;
  const auto blind = open_image(disc.write(folder, "blind.bin"));
  for (std::size_t i = 0; i < 160; ++i)
    disc.unit(20)[2352 + (300 + i) / 8] |= static_cast<std::uint8_t>(0x80 >> (300 + i) % 8);
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(blind->states().at(20), SectorState::kBad);
  EXPECT_EQ(image->states().at(20), SectorState::kRepaired);
  expect_in_place(*image);
}

TEST(RawSource, AMapInBytesSaysWhichOnesAreWrong) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  for (std::size_t i = 0; i < 160; ++i) disc.unit(20)[16 + 300 + i] ^= 0x33;
  const auto path = disc.write(folder);
  EXPECT_EQ(open_image(path)->states().at(20), SectorState::kBad);
  write_file(folder / "disc.map", "#! unit bytes\n" + std::to_string(20 * 2048 + 300) + " 160 bad\n");
  ImageOptions options;
  options.maps = {folder / "disc.map"};
  const auto image = open_image(path, options);
  EXPECT_EQ(image->states().at(20), SectorState::kRepaired);
  expect_in_place(*image);
}

/// Sector `lba` as the image holds it, and which of its bytes are known to be wrong.
struct Stored {
  SectorState state = SectorState::kBad;
  std::vector<std::uint8_t> bytes = std::vector<std::uint8_t>(kRawSectorBytes, 0x77);
  WrongBytes wrong;
};
Stored stored(const Image& image, std::uint64_t lba) {
  Stored s;
  image.raw()->read_stored(lba, s.bytes, std::span(&s.state, 1), std::span(&s.wrong, 1));
  return s;
}

TEST(RawSource, StoredBytesAreThoseOfTheImageWhateverTheCodesSay) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  disc.insert(0, 10, 0x55);
  const auto change = [&disc](std::size_t sector, std::size_t at, std::size_t count) {
    for (std::size_t i = 0; i < count; ++i) disc.bytes[10 + sector * kRawSectorBytes + at + i] ^= 0x5a;
  };
  change(11, 500, 20);    // is repaired
  change(12, 500, 1000);  // is not
  std::fill_n(disc.bytes.begin() + 10 + 13 * kRawSectorBytes, kRawSectorBytes, std::uint8_t{0xff});
  disc.bytes.resize(disc.bytes.size() - 100);
  const auto image = open_image(disc.write(folder));
  ASSERT_EQ(states_text(*image), "good 0-10, repaired 11, bad 12-13, good 14-58, absent 59");
  for (const std::uint64_t lba : {0U, 11U, 12U, 58U}) {
    const Stored s = stored(*image, lba);
    EXPECT_EQ(s.state, SectorState::kGood) << lba;
    EXPECT_TRUE(std::equal(s.bytes.begin(), s.bytes.end(),
                           disc.bytes.begin() + static_cast<std::ptrdiff_t>(10 + lba * kRawSectorBytes)))
        << lba;
    EXPECT_TRUE(s.wrong.none());
  }
  EXPECT_EQ(stored(*image, 13).state, SectorState::kUnread) << "nothing but one value";
  for (const std::uint64_t lba : {59U, 60U, 1000000U}) {
    EXPECT_EQ(stored(*image, lba).state, SectorState::kAbsent);
    EXPECT_EQ(stored(*image, lba).bytes, std::vector<std::uint8_t>(kRawSectorBytes));
  }
}

TEST(RawSource, StoredBytesAreUnscrambledAndHaveTheHeadOfTheirPlace) {
  const ScratchFolder folder;
  RawDisc scrambled = mode_1();
  const RawDisc plain = scrambled;
  for (std::size_t i = 0; i < 1000; ++i) scrambled.unit(12)[500 + i] ^= 0x5a;
  const auto image = open_image(scrambled.scramble().write(folder));
  const Stored s = stored(*image, 12);
  std::size_t differing = 0;
  for (std::size_t i = 0; i < kRawSectorBytes; ++i) differing += s.bytes[i] != plain.bytes[12 * 2352 + i] ? 1 : 0;
  EXPECT_EQ(s.state, SectorState::kGood);
  EXPECT_EQ(differing, 1000U);

  RawDisc headless(2336);
  headless.add(SectorForm::kForm1, numbered_sectors(kCount));
  for (std::size_t i = 0; i < 1000; ++i) headless.unit(12)[500 + i] ^= 0x5a;
  const auto image_2336 = open_image(headless.write(folder, "2336.bin"));
  const Stored h = stored(*image_2336, 12);
  const RawSector whole = encode_raw(SectorForm::kForm1, 12, numbered_sector(12));
  EXPECT_EQ(h.state, SectorState::kGood);
  EXPECT_TRUE(std::equal(whole.begin(), whole.begin() + 500, h.bytes.begin()));
  EXPECT_TRUE(std::equal(whole.begin() + 1516, whole.end(), h.bytes.begin() + 1516));
}

TEST(RawSource, StoredBytesComeWithThoseThatAreKnownToBeWrong) {
  const ScratchFolder folder;
  RawDisc disc = mode_1(2646);
  for (std::size_t i = 0; i < 500; ++i) disc.unit(20)[300 + i] ^= 0x33;
  for (std::size_t i = 300; i < 304; ++i) disc.unit(20)[2352 + i / 8] |= static_cast<std::uint8_t>(0x80 >> i % 8);
  write_file(folder / "disc.map", "#! unit bytes\n" + std::to_string(20 * 2048 + 600) + " 2 bad\n");
  ImageOptions options;
  options.maps = {folder / "disc.map"};
  const auto image = open_image(disc.write(folder), options);
  ASSERT_EQ(image->states().at(20), SectorState::kBad);
  WrongBytes expected;
  for (const std::size_t at : {300U, 301U, 302U, 303U, 616U, 617U}) expected.set(at);
  EXPECT_EQ(stored(*image, 20).wrong, expected);
  EXPECT_TRUE(stored(*image, 19).wrong.none());
  std::vector<std::uint8_t> bytes(3 * kRawSectorBytes);
  std::array<SectorState, 3> states;
  image->raw()->read_stored(19, bytes, states, {});
  EXPECT_THAT(states, ::testing::Each(SectorState::kGood));
}

TEST(RawSource, ZerosWhereSectorsWereNotRead) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  for (std::uint64_t i = 20; i < 30; ++i) std::ranges::fill(disc.unit(i), std::uint8_t{0});
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(states_text(*image), "good 0-19, bad 20-29, good 30-59");
  expect_in_place(*image);
}

TEST(RawSource, HolesAreUnread) {
  const ScratchFolder folder;
  const RawDisc disc = mode_1();
  const std::filesystem::path path = folder / "sparse.bin";
  const int fd = ::open(path.c_str(), O_CREAT | O_WRONLY, 0600);
  ASSERT_GE(fd, 0);
  const std::size_t head = 20 * 2352, tail = 50 * 2352;
  ASSERT_EQ(::pwrite(fd, disc.bytes.data(), head, 0), static_cast<ssize_t>(head));
  ASSERT_EQ(::pwrite(fd, disc.bytes.data() + tail, disc.bytes.size() - tail, static_cast<off_t>(tail)),
            static_cast<ssize_t>(disc.bytes.size() - tail));
  ::close(fd);
  const auto image = open_image(path);
  EXPECT_EQ(image->states().at(35), SectorState::kUnread) << states_text(*image);
  EXPECT_EQ(image->states().at(19), SectorState::kGood);
  EXPECT_EQ(image->states().at(50), SectorState::kGood);
  expect_in_place(*image);
}

TEST(RawSource, AWrongSectorInTheRightPlaceIsSuspect) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  std::ranges::copy(disc.unit(50), disc.unit(20).begin());  // proves itself, and is another one
  const auto image = open_image(disc.write(folder));
  EXPECT_EQ(states_text(*image), "good 0-19, suspect 20, good 21-59");
  EXPECT_THAT(kinds(*image), ::testing::ElementsAre("sectors-misplaced"));
}

TEST(RawSource, TheCodeOutranksTheMap) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  for (std::size_t i = 0; i < 1000; ++i) disc.unit(12)[500 + i] ^= 0x5a;
  write_file(folder / "disc.map", "11 3 bad\n40 1 unread\n");
  ImageOptions options;
  options.maps = {folder / "disc.map"};
  const auto image = open_image(disc.write(folder), options);
  EXPECT_EQ(states_text(*image), "good 0-11, bad 12, good 13-59");
  EXPECT_THAT(kinds(*image), ::testing::ElementsAre("proven-against-map"));
}

// ---- forms without a code

TEST(RawSource, WhatHasNoCodeRestsOnTheMap) {
  const ScratchFolder folder;
  RawDisc disc;
  disc.add(SectorForm::kForm1, numbered_sectors(20));
  disc.add(SectorForm::kForm2, numbered_sectors(20, 20));  // with EDC
  RawOptions bare;
  bare.form_2_edc = false;
  disc.add(SectorForm::kForm2, numbered_sectors(20, 40), bare);
  const auto path = disc.write(folder);
  const auto image = open_image(path);
  EXPECT_EQ(states_text(*image), "good 0-59");
  EXPECT_EQ(image->unproven(), RangeSet::from_unsorted({{40, 60}}));
  EXPECT_EQ(image->basis(), Basis::kAssumed);
  EXPECT_EQ(image->raw()->of_form(SectorForm::kForm2).total(), 40U);
  EXPECT_EQ(image->data_states().at(30), SectorState::kAbsent) << "form 2 has no 2048 bytes of user data";
  write_file(folder / "disc.map", "45 1 bad\n");
  ImageOptions options;
  options.maps = {folder / "disc.map"};
  const auto mapped = open_image(path, options);
  EXPECT_EQ(states_text(*mapped), "good 0-44, bad 45, good 46-59");
  EXPECT_EQ(mapped->basis(), Basis::kMap);
}

TEST(RawSource, AudioBehindDataIsGuessedAndSaidSo) {
  const ScratchFolder folder;
  RawDisc disc = mode_1();
  disc.add_audio(200, 9);
  const auto image = open_image(disc.write(folder));
  ASSERT_EQ(image->raw()->tracks().size(), 2U);
  const Track& audio = image->raw()->tracks()[1];
  EXPECT_TRUE(audio.audio && audio.guessed);
  EXPECT_EQ(audio.first_lba, kCount);
  EXPECT_EQ(audio.sectors, 200U);
  EXPECT_THAT(kinds(*image), ::testing::Contains("audio-guessed"));
  EXPECT_EQ(states_text(*image), "good 0-259");
  EXPECT_EQ(image->data_states().at(100), SectorState::kAbsent);
  std::vector<std::uint8_t> samples(kRawSectorBytes);
  std::array<SectorState, 1> state;
  image->raw()->read_raw(60, samples, state);
  EXPECT_EQ(state[0], SectorState::kGood);
  EXPECT_TRUE(std::ranges::equal(samples, disc.unit(60)));
}

// ---- what is not raw

TEST(RawSource, ARawImageStoredInAPlainOneIsAFile) {
  const ScratchFolder folder;
  const RawDisc inner = mode_1();
  for (const std::uint64_t at : {std::uint64_t{20}, std::uint64_t{400}}) {
    std::vector<std::uint8_t> plain(at * kSectorBytes, 0x11);
    plain.insert(plain.end(), inner.bytes.begin(), inner.bytes.end());
    write_file(folder / "plain.iso", std::string(plain.begin(), plain.end()));
    const auto image = open_image(folder / "plain.iso");
    EXPECT_EQ(image->raw(), nullptr) << at;
  }
}

TEST(RawSource, MoreSectorsThanACdHas) {
  const ScratchFolder folder;
  const RawDisc disc = mode_1();
  const auto path = disc.write(folder);
  std::filesystem::resize_file(path, std::uint64_t{2352} << 21);
  const auto image = Image::open({path});
  ASSERT_FALSE(image);
  EXPECT_EQ(image.error().code, ErrorCode::kNotReadable);
  EXPECT_THAT(image.error().message, ::testing::HasSubstr("than the 1048576 sectors"));
}

TEST(RawSource, NumberedPartsJoin) {
  const ScratchFolder folder;
  const RawDisc disc = mode_1();
  const std::size_t cut = 100000;  // within a sector
  const std::string all(disc.bytes.begin(), disc.bytes.end());
  write_file(folder / "disc.001", all.substr(0, cut));
  write_file(folder / "disc.002", all.substr(cut));
  const auto image = open_image(folder / "disc.001");
  EXPECT_EQ(states_text(*image), "good 0-59");
  expect_in_place(*image);
}

TEST(RawSource, CancelledWhileChecking) {
  const ScratchFolder folder;
  ImageOptions options;
  options.progress = [](const Progress&) { return false; };
  const auto image = Image::open({mode_1().write(folder)}, options);
  ASSERT_FALSE(image);
  EXPECT_EQ(image.error().code, ErrorCode::kCancelled);
}

}  // namespace
}  // namespace lacuna::test
