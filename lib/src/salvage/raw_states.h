// SPDX-License-Identifier: GPL-3.0-or-later
// What is known of whole sectors, where an image's states speak of their user data.
#pragma once

#include <cstdint>

#include "lacuna/image.h"
#include "lacuna/range_set.h"

namespace lacuna {

/// The states of the whole sectors at `lbas`: what the image knows, what their codes say, and what reading them shows,
/// since an image may hold only the user data of some. Elsewhere those of the image. Lists each sector of it.
SectorMap whole_sector_states(const Image& image, const RangeSet& lbas);

}  // namespace lacuna
