// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/disc_type.h"

#include <fmt/format.h>

#include <array>

#include "lacuna/report.h"

namespace lacuna {
namespace report {
namespace {

constexpr double kNm = 1e-6, kUm = 1e-3;  // in mm

// All numbers from memory of the standards named; none was looked up. What speaks for them: length times pitch of a
// full disc is the area between the two radii, to 0.1 mm (tests/report/disc_geometry_test.cpp).
//
// CD. ECMA-130 8 and 9: program area from a diameter of 50 mm to 116 mm at most, track pitch 1.6 um +- 0.1, scanning
// velocity 1.2 to 1.4 m/s; 75 sectors a second. A disc that holds 74 minutes needs the slowest, which blank discs say
// of themselves. 80 minutes need a pitch at the lower limit, 1.5 um. 150 sectors (2 seconds) stand before LBA 0.
constexpr double kCdSector = 1200.0 / 75;
// DVD. ECMA-267 (120 mm) and ECMA-268 (80 mm): data zone from a radius of 24.0 mm to 58.0 (38.0) mm at most, track
// pitch 0.74 um, channel bit 133.3 nm (one layer) or 146.7 nm (two); a sector is 26 sync frames of 1488 channel bits.
// Recordable ones: ECMA-349 (+R), ECMA-337 (+RW), ECMA-359 (-R), ECMA-338 (-RW), ECMA-364 (+R DL), ECMA-382 (-R DL).
constexpr double kDvdSectorBits = 26.0 * 1488, kDvdSector = kDvdSectorBits * 133.3 * kNm,
                 kDvdDualSector = kDvdSectorBits * 146.7 * kNm;
// BD. White papers of the Blu-ray Disc Association on the physical formats; ISO/IEC 30190 to 30193: data zone from
// 24.0 mm to 58.0 (38.0) mm, track pitch 0.32 um, channel bit 74.50 nm (25 GB a layer), 55.87 nm (33.4 GB), 58.26 nm
// (32 GB); a cluster of 32 sectors is 498 frames of 1932 channel bits.
constexpr double bd_sector(double bit_nm) { return 498.0 * 1932 * bit_nm * kNm / 32; }

constexpr std::string_view kEcma130 = "ECMA-130, from memory", kEcma267 = "ECMA-267, from memory",
                           kEcma268 = "ECMA-268, from memory", kBda = "BDA white papers and ISO/IEC 30190, from memory",
                           kIso30193 = "ISO/IEC 30191 and 30193, from memory";

constexpr std::array<DiscMeasures, kDiscTypeCount> kMeasures{{
    {DiscType::kCd74, "cd-74", "CD, 74 minutes", kEcma130, Medium::kCd, 60, 25, 58, 1.6 * kUm, kCdSector, 150, 1, false,
     false, 333'000, 0, 0},
    {DiscType::kCd80, "cd-80", "CD, 80 minutes", "ECMA-130, limits of its tolerances, from memory", Medium::kCd, 60, 25,
     58.1, 1.5 * kUm, kCdSector, 150, 1, false, false, 360'000, 0, 0},
    {DiscType::kCd8cm, "cd-8cm", "CD, 8 cm", "ECMA-130 and common practice, from memory", Medium::kCd, 40, 25, 38,
     1.6 * kUm, kCdSector, 150, 1, false, false, 94'500, 0, 0},
    {DiscType::kDvd, "dvd-sl", "DVD, one layer", kEcma267, Medium::kDvd, 60, 24, 58, 0.74 * kUm, kDvdSector, 0, 1,
     false, false, 2'298'496, 0, 0},
    {DiscType::kDvdDual, "dvd-dl", "DVD, two layers", "ECMA-267 and ECMA-364, from memory", Medium::kDvd, 60, 24, 58,
     0.74 * kUm, kDvdDualSector, 0, 2, true, true, 2'086'912, 0, 0},
    {DiscType::kDvdDualParallel, "dvd-dl-parallel", "DVD, two layers in parallel", kEcma267, Medium::kDvd, 60, 24, 58,
     0.74 * kUm, kDvdDualSector, 0, 2, false, true, 2'086'912, 0, 0},
    {DiscType::kDvd8cm, "dvd-8cm", "DVD, 8 cm, one layer", kEcma268, Medium::kDvd, 40, 24, 38, 0.74 * kUm, kDvdSector,
     0, 1, false, false, 714'544, 0, 0},
    {DiscType::kDvd8cmDual, "dvd-8cm-dl", "DVD, 8 cm, two layers", kEcma268, Medium::kDvd, 40, 24, 38, 0.74 * kUm,
     kDvdDualSector, 0, 2, true, true, 649'000, 0, 0},
    // A turn of a zone is a turn of land or of groove. The pitch given here is that which the sectors for users need:
    // spare sectors and guards lie between them, at places that an image does not tell.
    {DiscType::kDvdRam, "dvd-ram", "DVD-RAM, 4.7 GB", "ECMA-330, from memory", Medium::kDvd, 60, 24.1, 57.9,
     0.615 * kUm, 0, 0, 1, false, false, 2'295'072, 35, 25},
    {DiscType::kDvdRam26, "dvd-ram-2.6", "DVD-RAM, 2.6 GB", "ECMA-272, from memory", Medium::kDvd, 60, 24.0, 57.5,
     0.74 * kUm, 0, 0, 1, false, false, 1'218'960, 24, 17},
    {DiscType::kBd, "bd-sl", "Blu-ray disc, one layer", kBda, Medium::kBd, 60, 24, 58, 0.32 * kUm, bd_sector(74.5), 0,
     1, true, false, 12'219'392, 0, 0},
    {DiscType::kBdDual, "bd-dl", "Blu-ray disc, two layers", kBda, Medium::kBd, 60, 24, 58, 0.32 * kUm, bd_sector(74.5),
     0, 2, true, false, 12'219'392, 0, 0},
    {DiscType::kBdTriple, "bd-tl", "Blu-ray disc, three layers", kIso30193, Medium::kBd, 60, 24, 58, 0.32 * kUm,
     bd_sector(55.87), 0, 3, true, false, 16'292'864, 0, 0},
    {DiscType::kBdQuad, "bd-ql", "Blu-ray disc, four layers", kIso30193, Medium::kBd, 60, 24, 58, 0.32 * kUm,
     bd_sector(58.26), 0, 4, true, false, 15'625'216, 0, 0},
    {DiscType::kBd8cm, "bd-8cm", "Blu-ray disc, 8 cm, one layer", kBda, Medium::kBd, 40, 24, 38, 0.32 * kUm,
     bd_sector(74.5), 0, 1, true, false, 3'804'288, 0, 0},
    {DiscType::kBd8cmDual, "bd-8cm-dl", "Blu-ray disc, 8 cm, two layers", kBda, Medium::kBd, 40, 24, 38, 0.32 * kUm,
     bd_sector(74.5), 0, 2, true, false, 3'804'288, 0, 0},
}};

constexpr bool table_is_in_order() {
  for (std::size_t i = 0; i < kMeasures.size(); ++i) {
    if (kMeasures[i].type != static_cast<DiscType>(i)) return false;
  }
  return true;
}
static_assert(table_is_in_order());

}  // namespace

const DiscMeasures& measures_of(DiscType type) noexcept { return kMeasures[static_cast<std::size_t>(type)]; }

DiscTypeGuess guess_disc_type(const MediumGuess& medium, std::uint64_t sectors) {
  constexpr std::array kByMedium{DiscType::kCd74, DiscType::kCd80,   DiscType::kDvd,      DiscType::kDvdDual,
                                 DiscType::kBd,   DiscType::kBdDual, DiscType::kBdTriple, DiscType::kBdQuad};
  DiscTypeGuess guess;
  for (const DiscType type : kByMedium) {
    const DiscMeasures& m = measures_of(type);
    if (m.medium != medium.medium) continue;
    guess.type = type;
    guess.why = medium.why;
    if (sectors <= m.layer_sectors * m.layers) break;
  }
  return guess;
}

}  // namespace report

std::string_view to_string(DiscType type) noexcept { return report::measures_of(type).word; }

std::optional<DiscType> disc_type_from(std::string_view word) noexcept {
  for (int i = 0; i < kDiscTypeCount; ++i) {
    if (to_string(static_cast<DiscType>(i)) == word) return static_cast<DiscType>(i);
  }
  return {};
}

Medium medium_of(DiscType type) noexcept { return report::measures_of(type).medium; }

}  // namespace lacuna
