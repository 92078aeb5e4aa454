// SPDX-License-Identifier: GPL-3.0-or-later
// The grid of damage: what is lost of a disc, and in how many ways an image can show it. The same seed gives the same
// damage everywhere.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "authored_discs.h"
#include "lacuna/range_set.h"
#include "support/memory_image.h"

namespace lacuna::test {

/// What the image looks like where sectors are lost.
enum class Showing : std::uint8_t {
  kMap,      ///< A map says so.
  kHoles,    ///< No map; the image file is sparse there.
  kGarbage,  ///< No map; noise stands there.
  kZeros,    ///< No map; zeros stand there.
};
std::string_view to_string(Showing);
inline constexpr Showing kShowings[] = {Showing::kMap, Showing::kHoles, Showing::kGarbage, Showing::kZeros};

struct Damage {
  std::string name;
  std::uint32_t seed = 0;
  RangeSet lost;                     ///< LBAs.
  std::uint64_t first = 0, end = 0;  ///< The image holds these LBAs only.
  bool start_known = true;           ///< Else the image claims to begin at LBA 0.

  bool survives(std::uint64_t lba) const { return lba >= first && lba < end && !lost.contains(lba); }
};

/// Sectors of structures, by class ("volume descriptors", "Joliet directories", …), in the undamaged disc.
using StructureClasses = std::map<std::string, RangeSet>;
StructureClasses structure_classes(const AuthoredDisc& disc);

/// The names of all damage that a disc of this kind can have, in the order of the table.
std::vector<std::string> damage_names(const StructureClasses& classes);
/// True when another seed gives another damage.
bool is_random(std::string_view damage);
Damage make_damage(const AuthoredDisc& disc, const StructureClasses& classes, const std::string& name,
                   std::uint32_t seed);

/// What is left: the image's bytes as they show, from damage.first on. Lost sectors hold zeros, or noise.
std::vector<std::uint8_t> damaged_bytes(const AuthoredDisc& disc, const Damage& damage, Showing showing);
MemoryImage damaged_image(std::vector<std::uint8_t> bytes, const Damage& damage, Showing showing);

}  // namespace lacuna::test
