// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/cd/parity.h"

#include <gtest/gtest.h>

#include <random>
#include <set>

#include "media/cd/galois.h"
#include "support/raw_encoder.h"

namespace lacuna::cd {
namespace {

test::RawSector random_sector(std::uint32_t seed) {
  std::mt19937 random(seed);
  test::RawSector sector;
  for (std::uint8_t& b : sector) b = static_cast<std::uint8_t>(random());
  return sector;
}

std::size_t failing(const Syndromes& s) {
  std::size_t n = 0;
  for (std::size_t c = 0; c < kColumns; ++c) n += s.column_fails(c) ? 1 : 0;
  for (std::size_t d = 0; d < kDiagonals; ++d) n += s.diagonal_fails(d) ? 1 : 0;
  return n;
}

// ECMA-130 A.3: 02 is primitive in the field by x^8+x^4+x^3+x^2+1.
TEST(Galois, PowersOfTwoGoThroughAllButZero) {
  std::set<int> seen;
  unsigned by_shifts = 1;
  for (std::size_t i = 0; i < 255; ++i) {
    seen.insert(kGalois.power[i]);
    EXPECT_EQ(kGalois.power[i], by_shifts);
    by_shifts <<= 1;
    if (by_shifts > 255) by_shifts ^= 0x11d;
  }
  EXPECT_EQ(seen.size(), 255u);
  EXPECT_FALSE(seen.contains(0));
}

TEST(Galois, DivisionUndoesMultiplication) {
  for (unsigned a = 0; a < 256; ++a) {
    for (unsigned b = 1; b < 256; ++b) {
      const auto x = static_cast<std::uint8_t>(a), y = static_cast<std::uint8_t>(b);
      ASSERT_EQ(divide(multiply(x, y), y), x);
      ASSERT_EQ(multiply(y, 0), 0);
    }
  }
}

// ECMA-130 A.5: symbol MP of P codeword NP is word 43 MP + NP. A.6: symbol MQ of Q codeword NQ is word
// (44 MQ + 43 NQ) mod 1118, then 1118 + NQ and 1144 + NQ.
TEST(Parity, SymbolsStandWhereTheStandardPutsThem) {
  for (std::size_t plane = 0; plane < 2; ++plane) {
    for (std::size_t np = 0; np < 43; ++np) {
      for (std::size_t mp = 0; mp < 26; ++mp) {
        EXPECT_EQ(column_at(2 * np + plane, mp), 12 + 2 * (43 * mp + np) + plane);
      }
    }
    for (std::size_t nq = 0; nq < 26; ++nq) {
      for (std::size_t mq = 0; mq < 43; ++mq) {
        EXPECT_EQ(diagonal_at(2 * nq + plane, mq), 12 + 2 * ((44 * mq + 43 * nq) % 1118) + plane);
      }
      EXPECT_EQ(diagonal_at(2 * nq + plane, 43), 12 + 2 * (1118 + nq) + plane);
      EXPECT_EQ(diagonal_at(2 * nq + plane, 44), 12 + 2 * (1144 + nq) + plane);
    }
  }
}

TEST(Parity, EveryByteKnowsItsCodewords) {
  for (std::size_t at = kSyncBytes; at < kRawSectorBytes; ++at) {
    const Symbol s = symbol_at(at);
    ASSERT_EQ(diagonal_at(s.diagonal, s.diagonal_symbol), at);
    ASSERT_EQ(s.column == kColumns, at >= kQParityAt);
    if (s.column != kColumns) {
      ASSERT_EQ(column_at(s.column, s.column_symbol), at);
    }
  }
}

TEST(Parity, EncoderAgreesWithTheEquations) {
  for (std::uint32_t seed = 0; seed < 20; ++seed) {
    test::RawSector by_equations = random_sector(seed);
    test::RawSector by_library = by_equations;
    test::put_parity(by_equations, false);
    encode_parity(by_library);
    ASSERT_EQ(by_library, by_equations);
    ASSERT_EQ(failing(syndromes(by_library)), 0u);
    for (std::size_t at = kQParityAt; at < kRawSectorBytes; ++at) by_library[at] = 0xaa;
    encode_q_parity(by_library);
    ASSERT_EQ(by_library, by_equations);
  }
}

TEST(Parity, SyndromesAreTheSumsOfTheStandard) {
  const test::RawSector sector = random_sector(77);
  const Syndromes s = syndromes(sector);
  for (std::size_t c = 0; c < kColumns; ++c) {
    std::uint8_t s0 = 0, s1 = 0;
    for (std::size_t i = 0; i < kColumnSymbols; ++i) {
      s0 ^= sector[column_at(c, i)];
      s1 ^= multiply(sector[column_at(c, i)], kGalois.power[kColumnSymbols - 1 - i]);
    }
    ASSERT_EQ(s.p0[c], s0);
    ASSERT_EQ(s.p1[c], s1);
  }
  for (std::size_t d = 0; d < kDiagonals; ++d) {
    std::uint8_t s0 = 0, s1 = 0;
    for (std::size_t i = 0; i < kDiagonalSymbols; ++i) {
      s0 ^= sector[diagonal_at(d, i)];
      s1 ^= multiply(sector[diagonal_at(d, i)], kGalois.power[kDiagonalSymbols - 1 - i]);
    }
    ASSERT_EQ(s.q0[d], s0);
    ASSERT_EQ(s.q1[d], s1);
  }
}

TEST(Parity, OneByteFailsItsTwoCodewords) {
  test::RawSector sector = random_sector(5);
  encode_parity(sector);
  for (std::size_t at = kSyncBytes; at < kRawSectorBytes; at += 7) {
    sector[at] ^= 0x40;
    const Syndromes s = syndromes(sector);
    const Symbol symbol = symbol_at(at);
    ASSERT_EQ(failing(s), symbol.column == kColumns ? 1u : 2u);
    ASSERT_TRUE(s.diagonal_fails(symbol.diagonal));
    sector[at] ^= 0x40;
  }
}

TEST(Parity, TwoSymbolsAreSolvedByTheirWeights) {
  std::mt19937 random(9);
  for (int trial = 0; trial < 1000; ++trial) {
    const std::uint8_t v = kGalois.power[random() % 45], w = kGalois.power[45 + random() % 45];
    const auto a = static_cast<std::uint8_t>(random()), b = static_cast<std::uint8_t>(random());
    const Pair pair = solve_two(a ^ b, multiply(v, a) ^ multiply(w, b), v, w);
    ASSERT_EQ(pair.first, a);
    ASSERT_EQ(pair.second, b);
  }
}

}  // namespace
}  // namespace lacuna::cd
