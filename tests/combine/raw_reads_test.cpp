// SPDX-License-Identifier: GPL-3.0-or-later
// Reads of whole sectors, alone and together with plain ones.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "lacuna/combine.h"
#include "media/temp_folder.h"
#include "support/iso_builder.h"
#include "support/memory_image.h"
#include "support/raw_disc.h"
#include "support/tagged_blocks.h"

namespace lacuna {
namespace {

std::vector<std::uint8_t> plain_disc() {
  std::vector<test::IsoNode> files;
  for (std::uint32_t i = 0; i < 6; ++i) {
    files.push_back(test::iso_file(fmt::format("LOG{}.TXT;1", i), test::tagged_content(i, 2048 * 20)));
  }
  return test::build_iso(test::iso_directory("", std::move(files))).bytes;
}

class RawReads : public ::testing::Test {
 protected:
  RawReads() : plain_(plain_disc()) { truth_.add(SectorForm::kMode1, plain_); }

  std::uint64_t sectors() const { return plain_.size() / kSectorBytes; }
  test::RawDisc& read() {
    raws_.push_back(truth_);
    return raws_.back();
  }
  /// Wrong bytes so many that the parity alone can't make up for them; others in each read, and some in both.
  static void spoil(test::RawDisc& raw, std::uint64_t lba, std::uint64_t seed, std::size_t from, std::size_t count) {
    std::mt19937_64 random(seed * 1000 + lba);
    for (std::size_t i = 0; i < count; ++i) {
      raw.unit(lba)[from + i] ^= static_cast<std::uint8_t>(1 + random() % 255);
    }
  }
  Result<CombineReport> combine(CombineOptions options = {}, const Image* also = nullptr) {
    images_.clear();
    std::vector<DiscRead> reads;
    for (std::size_t i = 0; i < raws_.size(); ++i) {
      const std::string name = fmt::format("read-{}.bin", i);
      raws_[i].write(folder_, name);
      images_.push_back(std::move(Image::open({folder_ / name})).value());
      reads.push_back({name, images_.back().get(), {}, {}});
    }
    if (also != nullptr) reads.push_back({"plain", also, {}, {}});
    options.to = folder_ / "out.bin";
    return combine_reads(reads, options);
  }
  std::unique_ptr<Image> result() const {
    ImageOptions options;
    options.maps = {folder_ / "out.bin.map"};
    return std::move(Image::open({folder_ / "out.bin"}, options)).value();
  }
  static std::uint64_t settled(const CombineReport& r, Settled how) { return r.settled[static_cast<std::size_t>(how)]; }

  std::vector<std::uint8_t> plain_;
  test::RawDisc truth_;
  std::vector<test::RawDisc> raws_;
  std::vector<std::unique_ptr<Image>> images_;
  test::TempFolder folder_;
};

TEST_F(RawReads, ASectorThatNeitherReadYieldsIsJoinedFromBoth) {
  test::RawDisc& a = read();
  spoil(a, 40, 1, 100, 500);
  test::RawDisc& b = read();
  spoil(b, 40, 2, 700, 500);
  const Result<CombineReport> report = combine();
  ASSERT_TRUE(report) << report.error().message;
  EXPECT_TRUE(report->raw);
  EXPECT_EQ(images_[0]->states().at(40), SectorState::kBad);
  EXPECT_EQ(images_[1]->states().at(40), SectorState::kBad);
  EXPECT_EQ(settled(*report, Settled::kJoined), 1U);
  EXPECT_EQ(settled(*report, Settled::kProven), sectors() - 1);
  EXPECT_EQ(report->basis, Basis::kEdc);
  truth_.write(folder_, "truth.bin");
  EXPECT_EQ(test::read_file(folder_ / "out.bin"), test::read_file(folder_ / "truth.bin"));
  EXPECT_EQ(result()->basis(), Basis::kEdc);
}

TEST_F(RawReads, WhatStaysBadSaysSo) {
  spoil(read(), 40, 1, 100, 1500);
  spoil(read(), 40, 2, 100, 1500);
  const Result<CombineReport> report = combine();
  ASSERT_TRUE(report);
  EXPECT_EQ(settled(*report, Settled::kMissing), 1U);
  EXPECT_EQ(result()->states().at(40), SectorState::kBad);
}

TEST_F(RawReads, PlainFormHoldsTheUserData) {
  spoil(read(), 40, 1, 100, 500);
  spoil(read(), 40, 2, 700, 500);
  CombineOptions options;
  options.form = ImageForm::kPlain;
  ASSERT_TRUE(combine(options));
  EXPECT_EQ(test::read_file(folder_ / "out.bin"), plain_);
}

TEST_F(RawReads, APlainReadThatLiesIsOverruledByProof) {
  read();
  test::MemoryImage liar(plain_);
  std::ranges::fill(std::span(liar.bytes()).subspan(50 * kSectorBytes, kSectorBytes), std::uint8_t{0x77});
  liar.bytes()[50 * kSectorBytes] = 1;
  const auto plain = liar.with_map().open();
  const Result<CombineReport> report = combine({}, plain.get());
  ASSERT_TRUE(report) << report.error().message;
  EXPECT_FALSE(report->raw);
  EXPECT_EQ(test::read_file(folder_ / "out.bin"), plain_);
  EXPECT_EQ(report->reads[1].contradicted, 1U);
  EXPECT_EQ(report->basis, Basis::kEdc);
}

TEST_F(RawReads, ABrokenRawReadProvesWhatAPlainReadSays) {
  spoil(read(), 50, 1, 100, 500);
  test::MemoryImage honest(plain_);
  const auto plain = honest.with_map().open();
  const Result<CombineReport> report = combine({}, plain.get());
  ASSERT_TRUE(report) << report.error().message;
  EXPECT_EQ(test::read_file(folder_ / "out.bin"), plain_);
  EXPECT_EQ(settled(*report, Settled::kJoined), 1U);
  EXPECT_EQ(report->basis, Basis::kEdc);
}

TEST_F(RawReads, ABrokenRawReadSettlesWhichOfTwoPlainReadsIsRight) {
  spoil(read(), 50, 1, 100, 500);
  test::MemoryImage liar(plain_), honest(plain_);
  for (std::size_t i = 0; i < kSectorBytes; ++i)
    liar.bytes()[50 * kSectorBytes + i] ^= static_cast<std::uint8_t>(i * 7 + 1);
  const auto lies = liar.with_map().open(), truth = honest.with_map().open();
  raws_[0].write(folder_, "read.bin");
  const auto raw = test::open_image(folder_ / "read.bin");
  const std::vector<DiscRead> reads{
      {"raw", raw.get(), {}, {}}, {"lies", lies.get(), {}, {}}, {"truth", truth.get(), {}, {}}};
  CombineOptions options;
  options.to = folder_ / "out.bin";
  const Result<CombineReport> report = combine_reads(reads, options);
  ASSERT_TRUE(report) << report.error().message;
  EXPECT_EQ(test::read_file(folder_ / "out.bin"), plain_);
  EXPECT_EQ(settled(*report, Settled::kJoined), 1U);
  EXPECT_EQ(report->reads[1].contradicted, 1U);
  EXPECT_EQ(report->reads[2].contradicted, 0U);
}

TEST_F(RawReads, WholeSectorsLeaveOutWhatOnlyAPlainReadHas) {
  spoil(read(), 50, 1, 100, 1500);
  test::MemoryImage honest(plain_);
  const auto plain = honest.with_map().open();
  CombineOptions options;
  options.form = ImageForm::kRaw;
  const Result<CombineReport> report = combine(options, plain.get());
  ASSERT_TRUE(report) << report.error().message;
  EXPECT_EQ(report->left_out, 1U);
  EXPECT_EQ(settled(*report, Settled::kMissing), 1U);
}

TEST_F(RawReads, AudioSectorsAreGoodWhereTheyAgreeAndSuspectWhereTheyDiffer) {
  test::RawDisc cd = truth_, other = truth_;
  cd.add_audio(100, 4);
  other.add_audio(100, 4);
  other.unit(sectors() + 30)[77] ^= 1;
  const std::string tracks = fmt::format(
      "  TRACK 01 MODE1/2352\n    INDEX 01 00:00:00\n  TRACK 02 AUDIO\n    TITLE \"The bell\"\n"
      "    INDEX 01 00:{:02}:{:02}\n",
      sectors() / 75, sectors() % 75);
  std::vector<DiscRead> reads;
  for (const auto& [name, disc] : {std::pair{"a", &cd}, std::pair{"b", &other}}) {
    disc->write(folder_, fmt::format("{}.bin", name));
    const auto sheet =
        folder_.write(fmt::format("{}.cue", name), fmt::format("FILE \"{}.bin\" BINARY\n", name) + tracks);
    images_.push_back(test::open_image(sheet));
    reads.push_back({name, images_.back().get(), {}, {}});
  }
  CombineOptions options;
  options.to = folder_ / "out.bin";
  const Result<CombineReport> report = combine_reads(reads, options);
  ASSERT_TRUE(report) << report.error().message;
  EXPECT_EQ(settled(*report, Settled::kAgreed), 99U);
  EXPECT_EQ(settled(*report, Settled::kProven), sectors());
  EXPECT_EQ(settled(*report, Settled::kConflict), 1U);
  ASSERT_EQ(report->conflicts.size(), 1U);
  EXPECT_EQ(report->conflicts[0].first, sectors() + 30);
  EXPECT_TRUE(report->has_cue);
  const auto combined = test::open_image(folder_ / "out.bin.cue");
  ASSERT_EQ(combined->raw()->tracks().size(), 2U);
  EXPECT_EQ(combined->raw()->tracks()[1].first_lba, sectors());
  EXPECT_EQ(combined->raw()->tracks()[1].title, "The bell");
  EXPECT_TRUE(combined->raw()->tracks()[1].audio);
}

}  // namespace
}  // namespace lacuna
