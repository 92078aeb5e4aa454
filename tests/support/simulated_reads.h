// SPDX-License-Identifier: GPL-3.0-or-later
// Reads of one damaged disc by several drives: damage lies where it would on the spiral of a CD, and each drive copes
// with a part of it.
#pragma once

#include <cstdint>
#include <set>
#include <vector>

#include "base/bytes.h"
#include "support/memory_image.h"

namespace lacuna::test {

/// Where a sector lies on a CD. ECMA-130 8.6 and 9: the program area begins at 25 mm, the track pitch is 1.6 um, the
/// scanning velocity 1.2 to 1.4 m/s, here 1.3; 75 sectors a second (numbers from memory).
struct SpiralPlace {
  double radius_mm = 0;
  double turns = 0;  ///< From the start; the fraction is the angle.
};
SpiralPlace place_on_cd(std::uint64_t lba);

/// What is wrong with a disc. Deterministic by seed: radial scratches over part of the radius, and a rim gone bad.
struct DiscDamage {
  std::set<std::uint64_t> lbas;
};
DiscDamage scratched(std::uint64_t sectors, std::uint64_t seed);

struct DriveTraits {
  double copes = 0.7;            ///< With so much of the damage.
  double garbage = 0;            ///< So much of what it does not cope with it gives as if it were good.
  bool map = true;               ///< Else what it could not read is zeros, and nobody says so.
  std::int64_t shift_bytes = 0;  ///< Its bytes stand so much later than they should (positive only).
};

/// One drive's read of the disc.
struct SimulatedRead {
  std::vector<std::uint8_t> bytes;
  std::set<std::uint64_t> bad;      ///< Known to be so, or zeros, see DriveTraits::map.
  std::set<std::uint64_t> garbage;  ///< Not known to be so.
  bool map = true;

  std::unique_ptr<Image> open(const std::string& name) const;
};
SimulatedRead read_by(const DriveTraits& drive, Bytes disc, const DiscDamage& damage, std::uint64_t seed);

}  // namespace lacuna::test
