// SPDX-License-Identifier: GPL-3.0-or-later
// Which sectors there are to compare, and a choice of them.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "lacuna/range_set.h"
#include "lacuna/sector_map.h"

namespace lacuna {

/// Listed sectors that are good or repaired.
RangeSet good_lbas(const SectorMap& states);

/// Up to `most` of the elements, spread evenly, ascending.
std::vector<std::uint64_t> spread_over(const RangeSet& lbas, std::size_t most);

}  // namespace lacuna
