// SPDX-License-Identifier: GPL-3.0-or-later
// How much damage is repaired, exactly, for fixed seeds; and that nothing ever is repaired to anything else.
#include "media/cd/correction.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <ostream>
#include <random>
#include <utility>
#include <vector>

#include "support/raw_damage.h"

namespace lacuna::cd {
namespace {

using test::RawDamage;

constexpr int kTrials = 200;
constexpr std::int32_t kPlace = 4321;

struct Row {
  RawDamage kind;
  std::size_t bytes;
  int blind, known;  ///< Sectors of kTrials that end good or repaired; `known`: with the wrong bytes' places.
};
void PrintTo(const Row& r, std::ostream* out) { *out << test::to_string(r.kind) << " " << r.bytes; }

class CorrectionTable : public testing::TestWithParam<Row> {};

/// Sectors that end good or repaired.
int repaired(SectorForm form, const Row& row, bool known) {
  std::mt19937_64 random(static_cast<std::uint64_t>(row.kind) * 1000 + row.bytes);
  std::vector<std::uint8_t> payload(2048);
  for (std::uint8_t& b : payload) b = static_cast<std::uint8_t>(random());
  const test::RawSector whole = test::encode_raw(form, kPlace, payload);
  int count = 0;
  for (int trial = 0; trial < kTrials; ++trial) {
    test::RawSector s = whole;
    const ErasureSet wrong = damage_raw(s, row.kind, row.bytes, random);
    const test::RawSector damaged = s;
    const Sector r = prove(s, {.lba = kPlace, .form = form, .erasures = known ? &wrong : nullptr});
    if (r.state == SectorState::kBad) {
      EXPECT_EQ(s, damaged);
      continue;
    }
    ++count;
    EXPECT_TRUE(r.proven);
    EXPECT_EQ(r.form, form);
    EXPECT_TRUE(std::equal(payload.begin(), payload.end(), s.begin() + r.data_at));
    if (r.state == SectorState::kRepaired && form == SectorForm::kMode1) {
      EXPECT_TRUE(std::equal(whole.begin(), whole.begin() + 2076, s.begin()));
    }
  }
  return count;
}

TEST_P(CorrectionTable, RepairsSoManyAndNoneWrongly) {
  const Row& row = GetParam();
  EXPECT_EQ(repaired(SectorForm::kMode1, row, false), row.blind);
  EXPECT_EQ(repaired(SectorForm::kMode1, row, true), row.known);
}

INSTANTIATE_TEST_SUITE_P(
    , CorrectionTable,
    testing::Values(Row{RawDamage::kOneCodeword, 1, 200, 200}, Row{RawDamage::kOneCodeword, 2, 200, 200},
                    Row{RawDamage::kOneCodeword, 3, 200, 200}, Row{RawDamage::kOneCodeword, 4, 200, 200},
                    Row{RawDamage::kOneCodeword, 8, 200, 200}, Row{RawDamage::kOneCodeword, 24, 200, 200},
                    Row{RawDamage::kScattered, 2, 200, 200}, Row{RawDamage::kScattered, 5, 200, 200},
                    Row{RawDamage::kScattered, 10, 200, 200}, Row{RawDamage::kScattered, 20, 200, 200},
                    Row{RawDamage::kScattered, 40, 193, 200}, Row{RawDamage::kScattered, 60, 147, 200},
                    Row{RawDamage::kScattered, 80, 41, 200}, Row{RawDamage::kBurst, 1, 200, 200},
                    Row{RawDamage::kBurst, 2, 200, 200}, Row{RawDamage::kBurst, 20, 200, 200},
                    Row{RawDamage::kBurst, 86, 200, 200}, Row{RawDamage::kBurst, 90, 200, 200},
                    Row{RawDamage::kBurst, 100, 150, 200}, Row{RawDamage::kBurst, 120, 18, 200},
                    Row{RawDamage::kBurst, 150, 16, 200}, Row{RawDamage::kBurst, 172, 8, 200},
                    Row{RawDamage::kBurst, 200, 10, 200}, Row{RawDamage::kBursts, 40, 197, 200},
                    Row{RawDamage::kBursts, 80, 143, 200}, Row{RawDamage::kBursts, 120, 21, 200},
                    Row{RawDamage::kBursts, 200, 1, 189}, Row{RawDamage::kEverySixth, 20, 200, 200},
                    Row{RawDamage::kEverySixth, 60, 2, 200}, Row{RawDamage::kEverySixth, 100, 0, 200},
                    Row{RawDamage::kZeros, 86, 200, 200}, Row{RawDamage::kZeros, 172, 7, 200},
                    Row{RawDamage::kZeros, 500, 0, 0}, Row{RawDamage::kRest, 0, 25, 25}));

TEST(Correction, Form1IsRepairedAsMode1Is) {
  for (const auto& [kind, bytes] : {std::pair{RawDamage::kBurst, std::size_t{86}}, {RawDamage::kScattered, 10}}) {
    EXPECT_EQ(repaired(SectorForm::kForm1, {kind, bytes, 0, 0}, false), kTrials);
    EXPECT_EQ(repaired(SectorForm::kForm1, {kind, bytes, 0, 0}, true), kTrials);
  }
}

// Any byte at all, by each order of correction.
TEST(Correction, OneWrongByteAnywhere) {
  std::mt19937_64 random(5);
  test::RawSector whole{};
  for (std::uint8_t& b : whole) b = static_cast<std::uint8_t>(random());
  test::put_parity(whole, false);
  for (std::size_t at = kSyncBytes; at < kRawSectorBytes; ++at) {
    for (const FirstBy first : {FirstBy::kP, FirstBy::kQ}) {
      test::RawSector s = whole;
      s[at] ^= static_cast<std::uint8_t>(1 + random() % 255);
      CorrectionInput input;
      input.syndromes = syndromes(s);
      input.first = first;
      const Correction left = correct(s, input);
      ASSERT_EQ(left.failing_columns + left.failing_diagonals, 0u);
      ASSERT_EQ(s, whole);
    }
  }
}

// Two columns of words and any two diagonals: each codeword that fails has two wrong bytes, and only the failing ones
// of the other kind tell which.
TEST(Correction, CrossingsTellThePlaces) {
  std::mt19937_64 random(6);
  test::RawSector whole{};
  for (std::uint8_t& b : whole) b = static_cast<std::uint8_t>(random());
  test::put_parity(whole, false);
  int corrected = 0;
  for (int trial = 0; trial < kTrials; ++trial) {
    test::RawSector s = whole;
    const std::size_t plane = random() % 2;
    const std::size_t m = random() % 42, n = random() % 25;
    for (const std::size_t column : {m, m + 1}) {
      for (const std::size_t diagonal : {n, n + 1}) {
        s[diagonal_at(2 * diagonal + plane, column)] ^= static_cast<std::uint8_t>(1 + random() % 255);
      }
    }
    CorrectionInput input;
    input.syndromes = syndromes(s);
    correct(s, input);
    corrected += s == whole ? 1 : 0;
  }
  EXPECT_EQ(corrected, kTrials);
}

TEST(Correction, HeaderOfForm1IsNotTouched) {
  std::mt19937_64 random(7);
  for (int trial = 0; trial < kTrials; ++trial) {
    test::RawSector s;
    for (std::uint8_t& b : s) b = static_cast<std::uint8_t>(random());
    std::fill_n(s.begin() + 12, 4, std::uint8_t{0});
    ErasureSet everything;
    everything.set();
    CorrectionInput input;
    input.syndromes = syndromes(s);
    input.header_is_zero = true;
    input.erasures = trial % 2 == 0 ? &everything : nullptr;
    correct(s, input);
    ASSERT_TRUE(all_zero(Bytes(s).subspan(12, 4)));
  }
}

}  // namespace
}  // namespace lacuna::cd
