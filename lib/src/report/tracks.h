// SPDX-License-Identifier: GPL-3.0-or-later
// What the sectors' own codes say of each track of a raw image.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "lacuna/image.h"

namespace lacuna::report {

class Json;

struct TrackFacts {
  const Track* track = nullptr;
  SectorForm form = SectorForm::kUnknown;                 ///< Of most of its sectors.
  std::uint64_t proven = 0;                               ///< Good by their own code.
  std::array<std::uint64_t, kSectorStateCount> states{};  ///< Of all of its sectors; proven ones are among the good.
};

/// One for each track; none of an image that is not raw.
std::vector<TrackFacts> gather_tracks(const Image& image);
void put_tracks(Json& json, const Image& image);

}  // namespace lacuna::report
