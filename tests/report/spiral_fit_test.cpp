// SPDX-License-Identifier: GPL-3.0-or-later
// Discs are scratched on a spiral that is not the one of the published measures; the damage must tell which it is.
#include "report/spiral_fit.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <set>
#include <tuple>
#include <utility>
#include <vector>

#include "support/simulated_reads.h"

namespace lacuna::report {
namespace {

std::vector<SectorRun> runs_from(const std::set<std::uint64_t>& lbas) {
  std::vector<SectorRun> runs;
  for (const std::uint64_t lba : lbas) runs.push_back({lba, 1, SectorState::kBad});
  const std::uint64_t end = lbas.empty() ? 0 : *lbas.rbegin() + 1;
  return SectorMap::from_runs(runs).slice(0, end);
}

/// A scratch of `width` mm from one radius to another.
std::vector<SectorRun> scratch_on(const DiscGeometry& disc, double from, double to, double width) {
  std::set<std::uint64_t> lbas;
  const std::uint64_t first = *disc.lba_at(0, disc.turns_at_radius(0, from)),
                      end = *disc.lba_at(0, disc.turns_at_radius(0, to));
  for (std::uint64_t lba = first; lba < end; ++lba) {
    const Place p = disc.place_of(lba);
    const double begin = p.turns - std::floor(p.turns), length = disc.turns_at(0, lba + 1) - p.turns;
    const double breadth = width / (6.283185307 * p.radius_mm);
    if ((begin < 0.3 + breadth && begin + length > 0.3) || begin + length > 1.3) lbas.insert(lba);
  }
  return runs_from(lbas);
}

class Velocities : public ::testing::TestWithParam<double> {};

TEST_P(Velocities, AreToldByAScratch) {
  const DiscGeometry published(DiscType::kCd74, 240'000);
  const double sector = GetParam() * 1000 / 75;
  const DiscGeometry disc = published.with_winding(sector, 0.00163);
  for (const auto& [from, to] : {std::pair(27.0, 45.0), {35.0, 40.0}, {44.0, 50.0}}) {
    const std::optional<SpiralFit> fit = fit_spiral(published, scratch_on(disc, from, to, 0.5));
    ASSERT_TRUE(fit) << from;
    // Where the scratch is, no sector is turned by more than a twentieth.
    const DiscGeometry fitted = published.with_winding(fit->sector_mm, fit->pitch_mm);
    const std::uint64_t a = *disc.lba_at(0, disc.turns_at_radius(0, from)),
                        b = *disc.lba_at(0, disc.turns_at_radius(0, to));
    const double off = fitted.turns_at(0, a) - disc.turns_at(0, a);
    for (std::uint64_t lba = a; lba < b; lba += 500) {
      ASSERT_NEAR(fitted.turns_at(0, lba) - disc.turns_at(0, lba), off, 0.05) << from << ' ' << lba;
    }
  }
}
INSTANTIATE_TEST_SUITE_P(SpiralFit, Velocities, ::testing::Values(1.2, 1.27, 1.4));

TEST(SpiralFit, BlocksOfADvdAndABluRayDiscTellItToo) {
  // A drive gives up a block of 16 or 32 sectors, a fifth to a half of a turn, so angles are known less well.
  for (const auto& [type, block, sectors] :
       {std::tuple(DiscType::kDvd, 16U, 2'000'000U), {DiscType::kBd, 32U, 8'000'000U}}) {
    const DiscGeometry published(type, sectors);
    const DiscGeometry disc = published.with_winding(published.sector_mm() * 1.004, published.pitch_mm() * 1.003);
    const std::uint64_t first = *disc.lba_at(0, disc.turns_at_radius(0, 44)) / block * block,
                        end = *disc.lba_at(0, disc.turns_at_radius(0, 47));
    std::set<std::uint64_t> lbas;
    for (std::uint64_t lba = first; lba < end; lba += block) {
      const Place p = disc.place_of(lba);
      const double begin = p.turns - std::floor(p.turns), length = disc.turns_at(0, lba + block) - p.turns;
      const bool crosses = (begin < 0.303 && begin + length > 0.3) || begin + length > 1.3;
      for (std::uint64_t i = 0; crosses && i < block; ++i) lbas.insert(lba + i);
    }
    const std::optional<SpiralFit> fit = fit_spiral(published, runs_from(lbas));
    ASSERT_TRUE(fit) << to_string(type);
    const DiscGeometry fitted = published.with_winding(fit->sector_mm, fit->pitch_mm);
    const double off = fitted.turns_at(0, first) - disc.turns_at(0, first);
    for (std::uint64_t lba = first; lba < end; lba += 1000) {
      ASSERT_NEAR(fitted.turns_at(0, lba) - disc.turns_at(0, lba), off, 0.25) << to_string(type) << ' ' << lba;
    }
  }
}

TEST(SpiralFit, SeveralScratchesAndARimAreTurnedAsOnTheDisc) {
  // tests/support scratches a disc of 1.3 m/s, 17.33 mm a sector, pitch 1.6 um, at several angles.
  for (std::uint64_t seed = 1; seed <= 3; ++seed) {
    const test::DiscDamage damage = test::scratched(200'000, seed);
    const DiscGeometry published(DiscType::kCd74, 200'000);
    const std::optional<SpiralFit> fit = fit_spiral(published, runs_from(damage.lbas));
    ASSERT_TRUE(fit) << seed;
    EXPECT_NEAR(fit->sector_mm, 1300.0 / 75, 0.05) << seed;
    EXPECT_NEAR(fit->pitch_mm, 0.0016, 0.00001) << seed;
    const DiscGeometry fitted = published.with_winding(fit->sector_mm, fit->pitch_mm);
    const std::uint64_t first = *damage.lbas.begin();
    const double off = fitted.turns_at(0, first) - test::place_on_cd(first).turns;
    for (const std::uint64_t lba : damage.lbas) {
      ASSERT_NEAR(fitted.turns_at(0, lba) - test::place_on_cd(lba).turns, off, 0.1) << seed << ' ' << lba;
    }
  }
}

TEST(SpiralFit, DamageThatDoesNotLineUpTellsNothing) {
  for (std::uint64_t seed = 1; seed <= 8; ++seed) {
    std::mt19937_64 random(seed);
    std::set<std::uint64_t> lbas;
    for (std::uint64_t i = 0; i < 100 * seed * seed; ++i) lbas.insert(random() % 300'000);
    EXPECT_FALSE(fit_spiral(DiscGeometry(DiscType::kCd74, 300'000), runs_from(lbas))) << seed;
  }
  // Every tenth, every 16th: what programs leave out, not what a scratch does.
  for (const std::uint64_t every : {2U, 10U, 16U}) {
    for (const DiscType type : {DiscType::kCd80, DiscType::kDvd, DiscType::kBd}) {
      std::set<std::uint64_t> lbas;
      for (std::uint64_t lba = 0; lba < 300'000; lba += every) lbas.insert(lba);
      EXPECT_FALSE(fit_spiral(DiscGeometry(type, 300'000), runs_from(lbas))) << every << ' ' << to_string(type);
    }
  }
}

TEST(SpiralFit, FewRunsAndNoneTellNothing) {
  const DiscGeometry published(DiscType::kCd74, 240'000);
  EXPECT_FALSE(fit_spiral(published, {}));
  EXPECT_FALSE(fit_spiral(published, runs_from({1, 100, 1000})));
  EXPECT_FALSE(fit_spiral(DiscGeometry(DiscType::kCd74, 0), {}));
  EXPECT_FALSE(fit_spiral(published, std::vector<SectorRun>{{0, ~std::uint64_t{0} >> 2, SectorState::kBad}}));
}

}  // namespace
}  // namespace lacuna::report
