// SPDX-License-Identifier: GPL-3.0-or-later
// Data that nothing claims: stretches of readable sectors that no file and no structure is known to fill.
#pragma once

#include "disc/disc_builder.h"
#include "lacuna/result.h"

namespace lacuna::recover {

/// Adds each stretch to the tree as a file below `_unclaimed`, doubtful, with the kind that its first bytes look like
/// (libmagic). Stretches of zeros are left out, and those beyond the first kMostUnclaimed. Reads all of them.
void add_unclaimed(DiscBuilder& builder);

inline constexpr std::size_t kMostUnclaimed = 100000;

}  // namespace lacuna::recover
