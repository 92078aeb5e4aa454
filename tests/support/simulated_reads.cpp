// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/simulated_reads.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

namespace lacuna::test {
namespace {

constexpr double kInnerRadius = 25.0, kPitch = 0.0016, kSectorLength = 1300.0 / 75;  // mm

double chance(std::mt19937_64& random) { return static_cast<double>(random() >> 11) / 9007199254740992.0; }

void put_garbage(std::span<std::uint8_t> sector, std::mt19937_64& random) {
  for (std::uint8_t& b : sector) b = static_cast<std::uint8_t>(random());
}

}  // namespace

SpiralPlace place_on_cd(std::uint64_t lba) {
  // The area that a length of track covers is length times pitch.
  const double length = static_cast<double>(lba) * kSectorLength;
  const double radius = std::sqrt(kInnerRadius * kInnerRadius + length * kPitch / std::numbers::pi);
  return {radius, (radius - kInnerRadius) / kPitch};
}

DiscDamage scratched(std::uint64_t sectors, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  DiscDamage damage;
  const double outer = place_on_cd(sectors).radius_mm, breadth = outer - kInnerRadius;
  for (int scratch = 0; scratch < 3; ++scratch) {
    const double from = kInnerRadius + chance(random) * breadth * 0.8,
                 to = from + breadth * (0.1 + chance(random) * 0.4);
    const double angle = chance(random), width_mm = 1 + chance(random) * 8;
    for (std::uint64_t lba = 0; lba < sectors; ++lba) {
      const SpiralPlace first = place_on_cd(lba);
      if (first.radius_mm < from || first.radius_mm > to) continue;
      const double turn_mm = 2 * std::numbers::pi * first.radius_mm;
      const double begin = first.turns - std::floor(first.turns), end = begin + kSectorLength / turn_mm;
      const double hit = angle < begin ? angle + 1 : angle;
      if (hit <= end + width_mm / turn_mm) damage.lbas.insert(lba);
    }
  }
  const double rim = outer - breadth * (0.01 + chance(random) * 0.05);
  for (std::uint64_t lba = 0; lba < sectors; ++lba) {
    if (place_on_cd(lba).radius_mm >= rim) damage.lbas.insert(lba);
  }
  return damage;
}

SimulatedRead read_by(const DriveTraits& drive, Bytes disc, const DiscDamage& damage, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  SimulatedRead read;
  read.bytes.assign(disc.begin(), disc.end());
  read.map = drive.map;
  for (const std::uint64_t lba : damage.lbas) {
    if (chance(random) < drive.copes) continue;
    const auto sector = std::span(read.bytes).subspan(lba * kSectorBytes, kSectorBytes);
    if (chance(random) < drive.garbage) {
      put_garbage(sector, random);
      read.garbage.insert(lba);
    } else {
      std::ranges::fill(sector, std::uint8_t{0});
      read.bad.insert(lba);
    }
  }
  if (drive.shift_bytes > 0) {
    std::vector<std::uint8_t> lead(static_cast<std::size_t>(drive.shift_bytes));
    put_garbage(lead, random);
    read.bytes.insert(read.bytes.begin(), lead.begin(), lead.end());
    read.bytes.resize((read.bytes.size() + kSectorBytes - 1) / kSectorBytes * kSectorBytes);
  }
  return read;
}

std::unique_ptr<Image> SimulatedRead::open(const std::string& name) const {
  MemoryImage image(bytes);
  if (map) {
    image.with_map();
    for (const std::uint64_t lba : bad) image.mark(lba, 1, SectorState::kBad);
  }
  return image.open(name);
}

}  // namespace lacuna::test
