// SPDX-License-Identifier: GPL-3.0-or-later
// Whether two reads are of the same disc, and of which sectors that can be told.
#pragma once

#include <cstddef>

#include "lacuna/combine.h"

namespace lacuna {

/// compare_reads() with a number of sectors, where reading is dear, and in place only.
Agreement compare_in_place(const Image& known, const Image& other, std::size_t most_sectors);

}  // namespace lacuna
