// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/cd/edc.h"

#include <gtest/gtest.h>

#include <random>
#include <vector>

#include "media/cd/scrambler.h"
#include "support/raw_encoder.h"

namespace lacuna::cd {
namespace {

std::vector<std::uint8_t> random_bytes(std::size_t count, std::uint32_t seed) {
  std::mt19937 random(seed);
  std::vector<std::uint8_t> bytes(count);
  for (std::uint8_t& b : bytes) b = static_cast<std::uint8_t>(random());
  return bytes;
}

// ECMA-130 14.3: the code word with its EDC is divisible by P(x); the remainder of a single bit, the last of the
// message, is x^32 mod P(x), which is P(x) without x^32 (both factors multiplied by hand: 1 8001801Bh).
TEST(Edc, OneBitLeavesThePolynomial) {
  const std::uint8_t last_bit = 0x80;                // least significant bits are sent first
  EXPECT_EQ(edc(Bytes(&last_bit, 1)), 0xD8018001u);  // 8001801Bh, bits reversed
  EXPECT_EQ(edc_by_tables(Bytes(&last_bit, 1)), 0xD8018001u);
  EXPECT_EQ(test::edc_by_division(Bytes(&last_bit, 1)), 0xD8018001u);
}

TEST(Edc, NothingAndZerosGiveZero) {
  EXPECT_EQ(edc({}), 0u);
  EXPECT_EQ(edc(std::vector<std::uint8_t>(2064)), 0u);
}

// Every length to past where folding begins and ends, from every alignment.
TEST(Edc, EveryWayOfReckoningAgreesWithLongDivision) {
  const auto bytes = random_bytes(400, 1);
  for (std::size_t length = 0; length < 300; ++length) {
    const Bytes b = Bytes(bytes).subspan(length % 17, length);
    const std::uint32_t divided = test::edc_by_division(b);
    ASSERT_EQ(edc(b), divided) << length;
    ASSERT_EQ(edc_by_tables(b), divided) << length;
  }
  for (const std::size_t length : {2056u, 2064u, 2332u}) {
    const auto many = random_bytes(length, 2);
    EXPECT_EQ(edc(many), test::edc_by_division(many));
    EXPECT_EQ(edc_by_tables(many), test::edc_by_division(many));
  }
}

TEST(Edc, MessageWithItsEdcLeavesNothing) {
  auto bytes = random_bytes(2064, 3);
  const std::uint32_t code = edc(bytes);
  for (unsigned i = 0; i < 4; ++i) bytes.push_back(static_cast<std::uint8_t>(code >> (8 * i)));
  EXPECT_EQ(edc(bytes), 0u);
}

// ECMA-130 annex B: x^15+x+1, preset 0001h. The first bytes are format-facts 6.4's, from the standard's register.
TEST(Scrambler, BeginsAsInAnnexB) {
  test::RawSector sector{};
  sector[0] = 7;
  scramble(sector);
  constexpr std::array<std::uint8_t, 8> kFirst{0x01, 0x80, 0x00, 0x60, 0x00, 0x28, 0x00, 0x1E};
  for (std::size_t i = 0; i < kFirst.size(); ++i) EXPECT_EQ(sector[12 + i], kFirst[i]);
  EXPECT_EQ(sector[0], 7);
  for (std::size_t i = 1; i < 12; ++i) EXPECT_EQ(sector[i], 0);
}

// A register of 15 bits with a primitive polynomial repeats after 2^15 - 1 bits, which is more than a sector has: each
// bit is the sum of those 15 and 14 before it.
TEST(Scrambler, FollowsItsRecurrenceToTheEnd) {
  test::RawSector sector{};
  scramble(sector);
  const auto bit = [&sector](std::size_t i) { return sector[12 + i / 8] >> i % 8 & 1; };
  for (std::size_t i = 15; i < 2340 * 8; ++i) ASSERT_EQ(bit(i), bit(i - 15) ^ bit(i - 14)) << i;
}

TEST(Scrambler, TwiceIsNothing) {
  const auto bytes = random_bytes(kRawSectorBytes, 4);
  test::RawSector sector;
  std::ranges::copy(bytes, sector.begin());
  const test::RawSector before = sector;
  scramble(sector);
  EXPECT_NE(sector, before);
  scramble(sector);
  EXPECT_EQ(sector, before);
}

}  // namespace
}  // namespace lacuna::cd
