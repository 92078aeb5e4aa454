// SPDX-License-Identifier: GPL-3.0-or-later
// Several reads of one sector, of which none proves itself: what is recovered by joining them, exactly for fixed seeds,
// and that nothing ever becomes anything but what it was.
#include "media/cd/join.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <functional>
#include <random>
#include <vector>

#include "media/cd/choices.h"
#include "support/raw_damage.h"

namespace lacuna::cd {
namespace {

using test::RawDamage;

constexpr std::int32_t kHere = 4321;
using Reads = std::vector<test::RawSector>;

test::RawSector made(SectorForm form, std::uint64_t seed, std::int32_t lba = kHere) {
  std::mt19937_64 random(seed);
  std::vector<std::uint8_t> payload(2336);
  for (std::uint8_t& b : payload) b = static_cast<std::uint8_t>(random());
  return test::encode_raw(form, lba, payload);
}

void spoil(test::RawSector& s, std::size_t first, std::size_t bytes, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  for (std::size_t at = first; at < first + bytes; ++at) s[at] ^= static_cast<std::uint8_t>(1 + random() % 255);
}

std::vector<RawVersion> versions_of(const Reads& reads) {
  std::vector<RawVersion> versions;
  for (const test::RawSector& r : reads) versions.push_back({r});
  return versions;
}

Bytes user_data(const test::RawSector& s, SectorForm form) {
  return Bytes(s).subspan(form == SectorForm::kMode1 ? 16 : 24, form == SectorForm::kForm2 ? 2324 : 2048);
}

/// Joined to what it was: all of it where a code covers all.
void expect_joined(const std::vector<RawVersion>& versions, const test::RawSector& whole, SectorForm form,
                   Expected expected = {kHere, SectorForm::kUnknown, nullptr}) {
  test::RawSector out{};
  expected.form = form;
  const Sector r = join(versions, out, expected);
  EXPECT_EQ(r.state, SectorState::kRepaired);
  EXPECT_TRUE(r.proven);
  EXPECT_EQ(r.form, form);
  EXPECT_EQ(r.lba, kHere);
  EXPECT_TRUE(std::ranges::equal(Bytes(out).subspan(r.data_at, r.data_bytes), user_data(whole, form)));
  EXPECT_EQ(out, whole);
}

/// Not joined, and nothing is written.
void expect_bad(const std::vector<RawVersion>& versions, const Expected& expected = {kHere, SectorForm::kMode1}) {
  test::RawSector out;
  out.fill(0xa5);
  const test::RawSector before = out;
  const Sector r = join(versions, out, expected);
  EXPECT_EQ(r.state, SectorState::kBad);
  EXPECT_FALSE(r.proven);
  EXPECT_EQ(out, before);
}

class JoinForms : public testing::TestWithParam<SectorForm> {
 protected:
  const SectorForm form = GetParam();
  const test::RawSector whole = made(form, 1);
};
INSTANTIATE_TEST_SUITE_P(All, JoinForms, testing::Values(SectorForm::kMode1, SectorForm::kForm1, SectorForm::kForm2),
                         [](const auto& p) {
                           return p.param == SectorForm::kMode1   ? "mode_1"
                                  : p.param == SectorForm::kForm1 ? "form_1"
                                                                  : "form_2";
                         });

TEST_P(JoinForms, LongBurstsInDifferentPlaces) {
  Reads reads{whole, whole};
  spoil(reads[0], 30, 700, 1);
  spoil(reads[1], 1400, 900, 2);
  expect_joined(versions_of(reads), whole, form);
}

TEST_P(JoinForms, TwoReadsThatAreTheSameAreOneRead) {
  Reads reads{whole, whole};
  spoil(reads[0], 300, 900, 1);
  reads[1] = reads[0];
  expect_bad(versions_of(reads), {kHere, form});
  reads.push_back(whole);
  spoil(reads[2], 1500, 600, 2);
  expect_joined(versions_of(reads), whole, form);
}

TEST_P(JoinForms, AMajorityThatIsWrongIsNoProof) {
  Reads reads{whole, whole, whole};
  spoil(reads[0], 100, 1900, 1);
  spoil(reads[1], 100, 1900, 1);
  reads[1][2200] ^= 1;
  spoil(reads[2], 100, 1800, 2);
  expect_bad(versions_of(reads), {kHere, form});
}

TEST_P(JoinForms, UserDataFromAPlainReadIsProvenByTheCodesOfARawOne) {
  Reads reads{whole};
  spoil(reads[0], 200, 1700, 1);
  const RawVersion plain{user_data(whole, form)};
  expect_bad({{reads[0]}}, {kHere, form});
  expect_bad({plain}, {kHere, form});
  expect_bad({plain, plain}, {kHere, form});
  expect_joined({{reads[0]}, plain}, whole, form);
  expect_joined({plain, {reads[0]}}, whole, form);
}

TEST_P(JoinForms, UserDataThatIsWrongIsNotProven) {
  Reads reads{whole};
  spoil(reads[0], 200, 1700, 1);
  test::RawSector other = whole;
  spoil(other, 1000, 400, 2);
  const RawVersion plain{user_data(other, form)};
  expect_bad({{reads[0]}, plain}, {kHere, form});
  // Where a third is right it is found.
  const RawVersion right{user_data(whole, form)};
  expect_joined({{reads[0]}, plain, right}, whole, form);
}

TEST_P(JoinForms, BytesThatTheDriveCallsWrongAreTakenFromAnotherRead) {
  Reads reads{whole, whole};
  spoil(reads[0], 30, 1100, 1);
  spoil(reads[1], 1130, 1100, 2);
  ErasureSet first, second;
  for (std::size_t i = 0; i < 1100; ++i) {
    first.set(30 + i);
    second.set(1130 + i);
  }
  expect_joined({{reads[0], &first}, {reads[1], &second}}, whole, form);
}

TEST_P(JoinForms, ADamagedSyncAndHeader) {
  Reads reads{whole, whole};
  spoil(reads[0], 0, 16, 1);
  spoil(reads[0], 800, 600, 2);
  spoil(reads[1], 1500, 600, 3);
  expect_joined(versions_of(reads), whole, form);
}

TEST_P(JoinForms, OneReadOrNone) {
  Reads reads{whole};
  spoil(reads[0], 200, 1000, 1);
  expect_bad(versions_of(reads), {kHere, form});
  expect_bad({}, {kHere, form});
  const std::vector<std::uint8_t> odd(2000);
  expect_bad({{reads[0]}, {odd}, {Bytes()}}, {kHere, form});
}

TEST_P(JoinForms, WithoutAnythingKnownOfThePlace) {
  Reads reads{whole, whole};
  spoil(reads[0], 30, 500, 1);
  spoil(reads[1], 1400, 500, 2);
  test::RawSector out{};
  const Sector r = join(versions_of(reads), out);
  EXPECT_TRUE(r.proven);
  EXPECT_EQ(r.form, form);
  EXPECT_EQ(r.lba, kHere);
  EXPECT_EQ(out, whole);
}

TEST_P(JoinForms, MoreVersionsThanAreLookedAt) {
  Reads reads(kMostVersions + 2, whole);
  for (std::size_t i = 0; i < reads.size(); ++i) spoil(reads[i], 100 + 180 * i, 900, i);
  test::RawSector out{};
  const Sector r = join(versions_of(reads), out, {kHere, form});
  EXPECT_TRUE(!r.proven || std::ranges::equal(user_data(out, form), user_data(whole, form)));
}

// A writer's zeros behind the EDC, and a parity that both reads have wrong.
TEST(Join, ParityThatNoReadHasIsMadeAnew) {
  const test::RawSector whole = made(SectorForm::kMode1, 5);
  Reads reads{whole};
  spoil(reads[0], 200, 1700, 1);
  spoil(reads[0], 2070, 282, 2);
  expect_joined({{reads[0]}, {user_data(whole, SectorForm::kMode1)}}, whole, SectorForm::kMode1);
}

TEST(Join, Form2WithoutAnEdcIsNeverJoined) {
  const test::RawSector whole =
      test::encode_raw(SectorForm::kForm2, kHere, std::vector<std::uint8_t>(2324, 7), {.form_2_edc = false});
  Reads reads{whole, whole, whole};
  for (std::size_t i = 0; i < reads.size(); ++i) spoil(reads[i], 100 + 100 * i, 3, i);
  expect_bad(versions_of(reads), {kHere, SectorForm::kForm2});
}

TEST(Join, ZerosOfForm1AreNoProof) {
  Reads reads(2);
  for (test::RawSector& r : reads) {
    r.fill(0);
    r[15] = 2;
  }
  spoil(reads[0], 500, 100, 1);
  spoil(reads[1], 1500, 100, 2);
  expect_bad(versions_of(reads), {kHere, SectorForm::kForm1});
}

// ---- hostile

TEST(Join, ReadsOfTwoSectorsNeverMix) {
  std::mt19937_64 random(7);
  for (int trial = 0; trial < 60; ++trial) {
    for (const SectorForm form : {SectorForm::kMode1, SectorForm::kForm1, SectorForm::kForm2}) {
      const test::RawSector one = made(form, random()), other = made(form, random(), kHere + (trial % 2));
      Reads reads{one, other, one, other};
      for (test::RawSector& r : reads) damage_raw(r, RawDamage::kScattered, 100 + random() % 100, random);
      reads.resize(2 + static_cast<std::size_t>(trial) % 3);
      test::RawSector out{};
      const Sector r = join(versions_of(reads), out, {kHere, form});
      if (!r.proven) continue;
      EXPECT_TRUE(std::ranges::equal(user_data(out, form), user_data(one, form)) ||
                  std::ranges::equal(user_data(out, form), user_data(other, form)));
    }
  }
}

TEST_P(JoinForms, ReadsOfAnotherSectorAreNotPutInThisPlace) {
  const test::RawSector other = made(form, 2, kHere + 1);
  Reads reads{whole, other, other};
  spoil(reads[0], 100, 1900, 1);
  spoil(reads[1], 30, 700, 2);
  spoil(reads[2], 1400, 700, 3);
  expect_bad(versions_of(reads), {kHere, form});
}

TEST(Join, NoiseShiftsAndPartsOfOtherSectorsAreNeverProven) {
  std::mt19937_64 random(8);
  for (int trial = 0; trial < 100; ++trial) {
    const SectorForm form = trial % 2 == 0 ? SectorForm::kMode1 : SectorForm::kForm1;
    const test::RawSector one = made(form, random()), other = made(form, random());
    Reads reads{one, one, one};
    // The beginning of one sector and the end of another; a sector out of its place; noise.
    std::copy(other.begin() + 1000, other.end(), reads[0].begin() + 1000);
    std::rotate(reads[1].begin(), reads[1].begin() + 1 + static_cast<std::ptrdiff_t>(random() % 50), reads[1].end());
    for (std::uint8_t& b : reads[2]) b = static_cast<std::uint8_t>(random());
    test::RawSector out{};
    const Sector r = join(versions_of(reads), out, {kHere, form});
    EXPECT_TRUE(!r.proven || std::ranges::equal(user_data(out, form), user_data(one, form)));
  }
}

// ---- how much is recovered

struct JoinRow {
  RawDamage kind;
  std::size_t bytes;
  std::size_t reads;
  int joined;  ///< Sectors of kSectors.
};
void PrintTo(const JoinRow& r, std::ostream* out) {
  *out << r.reads << " reads with " << r.bytes << " bytes wrong, " << test::to_string(r.kind);
}
constexpr int kSectors = 100;

class JoinTable : public testing::TestWithParam<JoinRow> {};

TEST_P(JoinTable, JoinsSoManyAndNoneWrongly) {
  const JoinRow& row = GetParam();
  std::mt19937_64 random(static_cast<std::uint64_t>(row.kind) * 1000 + row.bytes);
  int joined = 0;
  for (int trial = 0; trial < kSectors; ++trial) {
    const test::RawSector whole = made(SectorForm::kMode1, random());
    Reads reads(row.reads, whole);
    for (test::RawSector& r : reads) {
      damage_raw(r, row.kind, row.bytes, random);
      test::RawSector alone = r;
      EXPECT_FALSE(prove(alone, {kHere, SectorForm::kMode1}).proven);
    }
    test::RawSector out{};
    const Sector r = join(versions_of(reads), out, {kHere, SectorForm::kMode1});
    if (!r.proven) continue;
    ++joined;
    EXPECT_EQ(out, whole);
  }
  EXPECT_EQ(joined, row.joined);
}

INSTANTIATE_TEST_SUITE_P(
    Mode1, JoinTable,
    testing::Values(JoinRow{RawDamage::kScattered, 118, 2, 100}, JoinRow{RawDamage::kScattered, 235, 2, 93},
                    JoinRow{RawDamage::kScattered, 235, 3, 100}, JoinRow{RawDamage::kScattered, 353, 2, 0},
                    JoinRow{RawDamage::kScattered, 353, 3, 99}, JoinRow{RawDamage::kScattered, 470, 3, 86},
                    JoinRow{RawDamage::kBurst, 600, 2, 48}, JoinRow{RawDamage::kBursts, 400, 3, 93}));

// ---- choices

TEST(Choices, OneOfTwoValuesOfEachOfManyBytes) {
  const test::RawSector whole = made(SectorForm::kMode1, 9);
  test::RawSector s = whole;
  OpenBytes bytes;
  std::mt19937_64 random(9);
  // A third of all bytes: each codeword of P has more than eight, of Q more than fourteen.
  for (std::size_t at = 16; at < kRawSectorBytes; at += 3) {
    const auto step = static_cast<std::uint8_t>(1 + random() % 255);
    if (random() % 2 == 0) s[at] ^= step;
    bytes.open.set(at);
    bytes.steps[at].add(step);
  }
  choose(s, bytes);
  EXPECT_TRUE(bytes.open.none());
  EXPECT_EQ(s, whole);
}

TEST(Choices, AreLeftOpenWhereSeveralAgree) {
  const test::RawSector one = made(SectorForm::kMode1, 1), other = made(SectorForm::kMode1, 2);
  test::RawSector s = one;
  const Alternative all{0, kRawSectorBytes, other.data()};
  EXPECT_FALSE(choose_runs(s, std::span(&all, 1))) << "the parity speaks against neither";
  EXPECT_EQ(s, one);
}

TEST(Choices, StepsThatAddUpToOthersAreLeftOut) {
  Steps steps;
  for (const int step : {0, 3, 5, 6, 5, 3}) steps.add(static_cast<std::uint8_t>(step));
  EXPECT_EQ(steps.all().size(), 2U);
  steps.add_all();
  EXPECT_EQ(steps.all().size(), 8U);
}

}  // namespace
}  // namespace lacuna::cd
