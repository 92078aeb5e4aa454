// SPDX-License-Identifier: GPL-3.0-or-later
// Places held against values worked out by hand from the published measures (all from memory of the standards named):
// radius = sqrt(inner^2 + sectors * sector length * pitch / pi).
#include "report/disc_geometry.h"

#include <gmock/gmock.h>

#include <cmath>
#include <numbers>
#include <random>

namespace lacuna::report {
namespace {

constexpr double kTenth = 0.1;  // mm

DiscGeometry full(DiscType type) {
  const DiscMeasures& m = measures_of(type);
  return DiscGeometry(type, m.layer_sectors * m.layers);
}

TEST(DiscGeometry, CdBeginsAt25mmAndIsFullAt58) {
  // ECMA-130: 50 mm diameter, 1.6 um, 1.2 m/s, 75 sectors a second, 16 mm each. 74 minutes are 333,000 sectors, and 150
  // come before: 333,150 * 16 mm * 0.0016 mm = 8528.64 mm2; / pi = 2714.75; + 625 = 3339.75; root: 57.79 mm. The
  // program area ends at a diameter of 116 mm.
  const DiscGeometry cd = full(DiscType::kCd74);
  EXPECT_NEAR(cd.place_of(0).radius_mm, 25.0, kTenth);
  EXPECT_NEAR(cd.place_of(332'999).radius_mm, 57.79, kTenth);
  EXPECT_NEAR(cd.place_of(332'999).radius_mm, 116.0 / 2, 0.25);
  // Half of the sectors: 166,650 * 16 * 0.0016 / pi = 1357.99; + 625 = 1982.99; root: 44.53 mm.
  EXPECT_NEAR(cd.place_of(166'500).radius_mm, 44.53, kTenth);
}

TEST(DiscGeometry, EightyMinutesNeedATighterSpiral) {
  // 360,150 * 16 mm * 0.0015 mm / pi = 2751.34; + 625; root: 58.11 mm.
  EXPECT_NEAR(full(DiscType::kCd80).place_of(359'999).radius_mm, 58.11, kTenth);
  // With the pitch of 1.6 um it would be at 59.65 mm, where there is no program area.
  EXPECT_FALSE(DiscGeometry(DiscType::kCd74, 360'000).fits());
}

TEST(DiscGeometry, DvdOfOneLayerEndsAt58mm) {
  // ECMA-267: 38,688 channel bits of 133.3 nm are 5.1571 mm; 2,298,496 * 5.1571 * 0.00074 / pi = 2792.1; + 576; root:
  // 58.03 mm. The standard's data zone ends at 58.0 mm at most.
  const DiscGeometry dvd = full(DiscType::kDvd);
  EXPECT_NEAR(dvd.place_of(0).radius_mm, 24.0, 1e-9);
  EXPECT_NEAR(dvd.place_of(2'298'495).radius_mm, 58.03, kTenth);
}

TEST(DiscGeometry, DvdOfTwoLayersTurnsAtTheRim) {
  // 38,688 channel bits of 146.7 nm are 5.6755 mm; 2,086,912 * 5.6755 * 0.00074 / pi = 2789.9; + 576; root: 58.02 mm.
  const DiscGeometry dvd = full(DiscType::kDvdDual);
  ASSERT_EQ(dvd.layers().size(), 2u);
  EXPECT_EQ(dvd.layers()[1].first_lba, 2'086'912u);
  EXPECT_NEAR(dvd.place_of(2'086'911).radius_mm, 58.02, kTenth);
  EXPECT_EQ(dvd.place_of(2'086'911).layer, 0u);
  EXPECT_NEAR(dvd.place_of(2'086'912).radius_mm, 58.02, kTenth);
  EXPECT_EQ(dvd.place_of(2'086'912).layer, 1u);
  EXPECT_NEAR(dvd.place_of(4'173'823).radius_mm, 24.0, kTenth);
  // A disc that is half full turns where half of its sectors end: 1,043,456 * 5.6755 * 0.00074 / pi = 1394.96; + 576;
  // root: 44.40 mm.
  EXPECT_NEAR(DiscGeometry(DiscType::kDvdDual, 2'086'912).place_of(1'043'456).radius_mm, 44.40, kTenth);
}

TEST(DiscGeometry, ParallelLayersBothBeginInside) {
  const DiscGeometry dvd = full(DiscType::kDvdDualParallel);
  EXPECT_NEAR(dvd.place_of(2'086'912).radius_mm, 24.0, kTenth);
  EXPECT_NEAR(dvd.place_of(4'173'823).radius_mm, 58.02, kTenth);
}

TEST(DiscGeometry, TheLayerBreakCanBeTold) {
  const DiscGeometry dvd(DiscType::kDvdDual, 3'000'000, 2'000'000);
  EXPECT_EQ(dvd.layers()[1].first_lba, 2'000'000u);
  EXPECT_TRUE(dvd.fits());
  // The second layer can't hold more than the first.
  EXPECT_FALSE(DiscGeometry(DiscType::kDvdDual, 3'000'000, 1'000'000).fits());
}

TEST(DiscGeometry, BluRayLayersAlternate) {
  // BDA white papers: 962,136 channel bits of 74.5 nm for 32 sectors, 2.24 mm each; 12,219,392 * 2.24 * 0.00032 / pi =
  // 2788.0; + 576; root: 58.0 mm.
  const DiscGeometry bd = full(DiscType::kBdDual);
  EXPECT_NEAR(bd.place_of(0).radius_mm, 24.0, 1e-9);
  EXPECT_NEAR(bd.place_of(12'219'391).radius_mm, 58.0, kTenth);
  EXPECT_NEAR(bd.place_of(12'219'392).radius_mm, 58.0, kTenth);
  EXPECT_NEAR(bd.place_of(24'438'783).radius_mm, 24.0, kTenth);
  const DiscGeometry quad = full(DiscType::kBdQuad);
  EXPECT_NEAR(quad.place_of(2 * 15'625'216).radius_mm, 24.0, kTenth);
  EXPECT_NEAR(quad.place_of(3 * 15'625'216).radius_mm, 58.0, kTenth);
}

TEST(DiscGeometry, ZonesOfDvdRamAreEquallyBroad) {
  // ECMA-330: 35 zones from 24.1 to 57.9 mm, 25 to 59 sectors a turn, so 1470 for a turn of each. The first zone holds
  // 2,295,072 * 25 / 1470 = 39,031 sectors, and is 33.8 / 35 = 0.9657 mm broad.
  const DiscGeometry ram = full(DiscType::kDvdRam);
  EXPECT_NEAR(ram.place_of(39'031).radius_mm, 25.066, 0.01);
  EXPECT_NEAR(ram.place_of(2'295'071).radius_mm, 57.9, kTenth);
  // A turn of the first zone has 25 sectors.
  EXPECT_NEAR(ram.turns_at(0, 25), 1.0, 1e-9);
}

/// Every type, full to its published capacity, ends where its area ends: the area is the length times the pitch. This
/// holds numbers of one source against those of another.
TEST(DiscGeometry, EveryTypeIsFullWhereItsAreaEnds) {
  for (int i = 0; i < kDiscTypeCount; ++i) {
    const auto type = static_cast<DiscType>(i);
    const DiscGeometry disc = full(type);
    const LayerTrack& first = disc.layers().front();
    EXPECT_TRUE(disc.fits()) << to_string(type);
    const double short_by = type == DiscType::kCd8cm ? 0.7 : 0.25;  // 21 minutes: common practice, not a standard.
    EXPECT_NEAR(first.end_radius, disc.measures().outer, short_by) << to_string(type);
    EXPECT_EQ(disc_type_from(to_string(type)), type);
  }
}

TEST(DiscGeometry, AreaIsLengthTimesPitch) {
  const DiscGeometry dvd = full(DiscType::kDvd);
  for (const std::uint64_t lba : {std::uint64_t{1}, std::uint64_t{1000}, std::uint64_t{2'000'000}}) {
    const Place p = dvd.place_of(lba);
    const double area = std::numbers::pi * (p.radius_mm * p.radius_mm - 24.0 * 24.0);
    EXPECT_NEAR(area, static_cast<double>(lba) * dvd.sector_mm() * dvd.pitch_mm(), 1e-6 * area + 1e-9);
    EXPECT_NEAR(p.radius_mm, 24.0 + p.turns * dvd.pitch_mm(), 1e-9);
  }
}

class EveryType : public ::testing::TestWithParam<int> {};

TEST_P(EveryType, TheWayBackLeadsToTheSameSector) {
  const auto type = static_cast<DiscType>(GetParam());
  std::mt19937_64 random(static_cast<std::uint64_t>(GetParam()) + 1);
  const DiscGeometry disc = full(type);
  for (int i = 0; i < 3000; ++i) {
    const std::uint64_t lba = random() % disc.sectors();
    const Place p = disc.place_of(lba);
    const double end = disc.turns_at(p.layer, lba + 1);
    ASSERT_LT(p.turns, end);
    EXPECT_EQ(disc.lba_at(p.layer, p.turns), lba);
    EXPECT_EQ(disc.lba_at(p.layer, p.turns + (end - p.turns) * 0.5), lba);
    EXPECT_NEAR(disc.turns_at_radius(p.layer, p.radius_mm), p.turns, 1e-6);
    // And it is among those of a small cell around it.
    const double angle = p.turns - std::floor(p.turns);
    Cell cell;
    cell.layer = p.layer;
    cell.radius_from_mm = p.radius_mm - 1e-3;
    cell.radius_to_mm = p.radius_mm + 1e-3;
    cell.angle_from = std::max(0.0, angle - 1e-3);
    cell.angle_to = std::min(1.0, angle + 1e-3);
    EXPECT_TRUE(disc.lbas_in(cell).contains(lba)) << lba;
  }
  EXPECT_EQ(disc.lba_at(0, -0.1), std::nullopt);
  const auto last = static_cast<std::uint32_t>(disc.layers().size() - 1);
  EXPECT_EQ(disc.lba_at(last, disc.turns_at(last, disc.sectors())), std::nullopt);
}
INSTANTIATE_TEST_SUITE_P(DiscGeometry, EveryType, ::testing::Range(0, kDiscTypeCount));

TEST(DiscGeometry, ACellHasJustTheSectorsThatTouchIt) {
  const DiscGeometry cd(DiscType::kCd74, 20'000);
  Cell cell;
  cell.radius_from_mm = 25.5;
  cell.radius_to_mm = 25.6;
  cell.angle_from = 0.9;
  cell.angle_to = 0.95;
  const RangeSet lbas = cd.lbas_in(cell);
  std::uint64_t touching = 0;
  for (std::uint64_t lba = 0; lba < cd.sectors(); ++lba) {
    // Sectors are shorter than a turn: each stretch of the cell on its own.
    const double from = cd.turns_at(0, lba), to = cd.turns_at(0, lba + 1);
    bool touches = false;
    for (const double turn : {std::floor(from), std::floor(from) + 1}) {
      const double begin = std::max({from, turn + 0.9, cd.turns_at_radius(0, 25.5)});
      const double end = std::min({to, turn + 0.95, cd.turns_at_radius(0, 25.6)});
      touches = touches || begin < end;
    }
    touching += touches ? 1 : 0;
    EXPECT_EQ(lbas.contains(lba), touches) << lba;
  }
  EXPECT_EQ(lbas.total(), touching);
  EXPECT_GT(touching, 0u);
}

TEST(DiscGeometry, MoreSectorsThanFitAreSqueezedIn) {
  for (int i = 0; i < kDiscTypeCount; ++i) {
    const auto type = static_cast<DiscType>(i);
    for (const std::uint64_t sectors : {std::uint64_t{1} << 32, std::uint64_t{1} << 40, ~std::uint64_t{0}}) {
      const DiscGeometry disc(type, sectors, std::uint64_t{16});
      EXPECT_FALSE(disc.fits()) << to_string(type);
      for (const std::uint64_t lba : {std::uint64_t{0}, disc.sectors() / 2, disc.sectors() - 1}) {
        const Place p = disc.place_of(lba);
        EXPECT_GE(p.radius_mm, disc.measures().inner - kTenth);
        EXPECT_LE(p.radius_mm, disc.measures().outer + kTenth) << to_string(type) << ' ' << lba;
      }
    }
  }
}

TEST(DiscGeometry, ADiscWithoutSectorsHasOneEmptyLayer) {
  for (int i = 0; i < kDiscTypeCount; ++i) {
    const DiscGeometry disc(static_cast<DiscType>(i), 0);
    ASSERT_EQ(disc.layers().size(), 1u);
    EXPECT_EQ(disc.lba_at(0, 0), std::nullopt);
    EXPECT_TRUE(disc.lbas_in(Cell{0, 0, 100, 0, 1}).empty());
    EXPECT_TRUE(disc.fits());
  }
}

TEST(DiscType, IsTheSmallestThatHoldsAll) {
  const auto type_of = [](Medium medium, std::uint64_t sectors) {
    return guess_disc_type({medium, "told"}, sectors).type;
  };
  EXPECT_EQ(type_of(Medium::kCd, 333'000), DiscType::kCd74);
  EXPECT_EQ(type_of(Medium::kCd, 333'001), DiscType::kCd80);
  EXPECT_EQ(type_of(Medium::kCd, 1 << 30), DiscType::kCd80);
  EXPECT_EQ(type_of(Medium::kDvd, 2'298'496), DiscType::kDvd);
  EXPECT_EQ(type_of(Medium::kDvd, 2'298'497), DiscType::kDvdDual);
  EXPECT_EQ(type_of(Medium::kBd, 12'219'392), DiscType::kBd);
  EXPECT_EQ(type_of(Medium::kBd, 24'438'784), DiscType::kBdDual);
  EXPECT_EQ(type_of(Medium::kBd, 48'878'592), DiscType::kBdTriple);
  EXPECT_EQ(type_of(Medium::kBd, 48'878'593), DiscType::kBdQuad);
}

}  // namespace
}  // namespace lacuna::report
