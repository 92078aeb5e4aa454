// SPDX-License-Identifier: GPL-3.0-or-later
// The runs of a sector map, to compare.
#pragma once

#include <vector>

#include "lacuna/sector_map.h"

namespace lacuna::test {

using Runs = std::vector<SectorRun>;

inline Runs runs_of(const SectorMap& map) { return {map.runs().begin(), map.runs().end()}; }

}  // namespace lacuna::test
