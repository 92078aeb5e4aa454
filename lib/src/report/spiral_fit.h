// SPDX-License-Identifier: GPL-3.0-or-later
// SpiralFit: how a disc's own track is wound, told by its damage. Discs of one type differ by some percent, and after
// thousands of turns a thousandth of that is a whole turn: without more knowledge, a scratch across all turns is
// smeared into a ring. But it hits each turn at the same angle, so that what it leaves repeats with the length of a
// turn.
#pragma once

#include <optional>
#include <span>

#include "lacuna/sector_map.h"
#include "report/disc_geometry.h"

namespace lacuna::report {

struct SpiralFit {
  double sector_mm = 0, pitch_mm = 0;
  std::size_t runs = 0;  ///< That it rests on.
};

/// Finds the winding within the type's tolerances under which the short runs that are not good line up best. Nothing
/// when they don't line up by more than chance would have it, for discs of several layers, and for those in zones.
/// Work is bounded, however many runs there are.
std::optional<SpiralFit> fit_spiral(const DiscGeometry& geometry, std::span<const SectorRun> runs);

}  // namespace lacuna::report
