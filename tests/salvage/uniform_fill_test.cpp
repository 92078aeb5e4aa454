// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/uniform_fill.h"

#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "lacuna/verdict.h"
#include "support/memory_image.h"

namespace lacuna {
namespace {

using test::MemoryImage;
using test::numbered_sectors;

/// A sector filled with a pattern whose shortest period is exactly `period`.
std::vector<std::uint8_t> filled(unsigned period) {
  std::vector<std::uint8_t> sector(kSectorBytes);
  for (std::size_t i = 0; i < sector.size(); ++i) sector[i] = i % period == 0 ? 0xA5 : 0x11;
  return sector;
}

TEST(UniformPeriod, EveryPeriodUpTo64IsSeenAndNoLongerOne) {
  for (unsigned period = 2; period <= 64; ++period) EXPECT_EQ(uniform_period(filled(period)), period);
  EXPECT_EQ(uniform_period(std::vector<std::uint8_t>(kSectorBytes, 0)), 1U);
  EXPECT_EQ(uniform_period(std::vector<std::uint8_t>(kSectorBytes, 0xFF)), 1U);
  EXPECT_EQ(uniform_period(filled(65)), 0U);
  EXPECT_EQ(uniform_period(filled(128)), 0U);
}

TEST(UniformPeriod, OneOtherByteAnywhereMakesItData) {
  for (const unsigned period : {1U, 2U, 3U, 16U, 63U, 64U}) {
    std::vector<std::uint8_t> sector = period == 1 ? std::vector<std::uint8_t>(kSectorBytes, 0) : filled(period);
    for (std::uint8_t& byte : sector) {
      byte ^= 0x40;
      ASSERT_EQ(uniform_period(sector), 0U) << "period " << period;
      byte ^= 0x40;
    }
  }
}

TEST(UniformPeriod, TooShortIsNeverUniform) {
  const std::vector<std::uint8_t> zeros(kSectorBytes, 0);
  for (std::size_t n = 0; n < 72; ++n) EXPECT_EQ(uniform_period(std::span(zeros).first(n)), 0U);
}

std::vector<std::uint8_t> with_fill(std::uint64_t sectors, const std::vector<std::uint64_t>& filled_lbas) {
  std::vector<std::uint8_t> bytes = numbered_sectors(sectors);
  for (const std::uint64_t lba : filled_lbas) {
    std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(lba * kSectorBytes), kSectorBytes, std::uint8_t{0xFF});
  }
  return bytes;
}

TEST(FindUniformFill, FindsTheSectorsAndReadsNoOther) {
  MemoryImage memory(with_fill(3000, {3, 600, 601, 1500, 2999}));
  memory.allow_only({{0, 700}, {2990, 3000}});
  const auto image = memory.open();
  RangeSet lbas;
  lbas.add({0, 700});
  lbas.add({2990, 3000});
  for (const unsigned threads : {1U, 2U, 5U}) {
    const std::uint64_t before = memory.log().sectors;
    const auto found = find_uniform_fill(*image, lbas, threads, {});
    ASSERT_TRUE(found.ok());
    EXPECT_EQ(*found, RangeSet::from_unsorted({{3, 4}, {600, 602}, {2999, 3000}})) << threads << " threads";
    EXPECT_EQ(memory.log().sectors - before, 710U) << "each sector once";
  }
}

TEST(FindUniformFill, AnUnreadableSectorIsNotAFill) {
  MemoryImage memory(with_fill(20, {7}));
  memory.fail(5, 2);
  const auto image = memory.open();
  const auto found = find_uniform_fill(*image, RangeSet::from_unsorted({{0, 20}}), 2, {});
  ASSERT_TRUE(found.ok());
  EXPECT_EQ(*found, RangeSet::from_unsorted({{7, 8}}));
  EXPECT_EQ(image->states().at(5), SectorState::kBad);
  EXPECT_EQ(image->states().at(6), SectorState::kBad);
}

TEST(FindUniformFill, ProgressEndsAtTheTotalAndCancelStops) {
  MemoryImage memory(with_fill(2000, {}));
  const auto image = memory.open();
  const RangeSet all = RangeSet::from_unsorted({{0, 2000}});
  std::uint64_t last = 0;
  const auto found = find_uniform_fill(*image, all, 2, [&](const Progress& p) {
    EXPECT_GE(p.done_bytes, last);
    EXPECT_EQ(p.total_bytes, 2000U * kSectorBytes);
    last = p.done_bytes;
    return true;
  });
  ASSERT_TRUE(found.ok());
  EXPECT_EQ(last, 2000U * kSectorBytes);
  const auto cancelled = find_uniform_fill(*image, all, 2, [](const Progress&) { return false; });
  ASSERT_FALSE(cancelled.ok());
  EXPECT_EQ(cancelled.error().code, ErrorCode::kCancelled);
}

}  // namespace
}  // namespace lacuna
