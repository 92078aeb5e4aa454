// SPDX-License-Identifier: GPL-3.0-or-later
// Audio tracks as files of the tree.
#pragma once

#include <cstddef>

#include "disc/disc_builder.h"
#include "lacuna/range_set.h"

namespace lacuna {

/// Adds each audio track as `_audio/track-NN.wav`, in the view of the tree's root; a track's sectors are those from its
/// index 1 on. Gives how many.
std::size_t add_audio_tracks(DiscBuilder& builder);

/// Sectors that hold samples: of audio tracks, their pregaps included, and those that look like it.
RangeSet audio_sectors(const Image& image);

}  // namespace lacuna
