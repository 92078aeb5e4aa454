// SPDX-License-Identifier: GPL-3.0-or-later
// Whether two reads are of the same disc, and of which sectors that can be told.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "lacuna/combine.h"

namespace lacuna {

/// Up to `most` of the elements, spread evenly, ascending.
std::vector<std::uint64_t> spread_over(const RangeSet& lbas, std::size_t most);

/// compare_reads() with a number of sectors, where reading is dear, and in place only.
Agreement compare_in_place(const Image& known, const Image& other, std::size_t most_sectors);

}  // namespace lacuna
