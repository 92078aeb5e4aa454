// SPDX-License-Identifier: GPL-3.0-or-later
// The published measures of each type of disc.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "lacuna/picture.h"

namespace lacuna::report {

/// Lengths in mm. Radii are those of the area that holds LBAs: program area of a CD, data zone of others.
struct DiscMeasures {
  DiscType type;
  std::string_view word;   ///< As to_string() has it.
  std::string_view title;  ///< For people: "CD, 74 minutes".
  std::string_view source;
  Medium medium;
  double rim;                  ///< Radius of the whole disc.
  double inner;                ///< Radius at which the area begins.
  double outer;                ///< Radius at which it ends at most.
  double pitch;                ///< From one turn of the track to the next.
  double sector;               ///< Length along the track of what holds one sector of 2048 bytes. 0: see `zones`.
  std::uint32_t lead_sectors;  ///< Between the start of the area and LBA 0.
  std::uint32_t layers;
  bool opposite;            ///< Every second layer runs from the outside in.
  bool layer_break_is_set;  ///< The writer chooses where the second layer begins; else it is where the first is full.
  std::uint64_t layer_sectors;  ///< That a layer holds at most.
  /// Zones, equally broad, each with a fixed number of sectors a turn: the first has so many, each further one 1 more.
  std::uint32_t zones, first_zone_sectors;
};

const DiscMeasures& measures_of(DiscType type) noexcept;

struct DiscTypeGuess {
  DiscType type = DiscType::kCd74;
  std::string why;  ///< For people; no full stop.
};
/// By the medium, and by what fits on each of its types: the smallest. An 8 cm disc, a parallel track path and zones
/// can't be told from an image, and are never guessed.
DiscTypeGuess guess_disc_type(const MediumGuess& medium, std::uint64_t sectors);

}  // namespace lacuna::report
