// SPDX-License-Identifier: GPL-3.0-or-later
// A cue sheet for a combined image of whole sectors: without one, where tracks begin would have to be guessed.
#pragma once

#include <string>
#include <vector>

#include "lacuna/tracks.h"

namespace lacuna {

/// For a file `name` whose first sector is LBA `first_lba`; `mode_2` tells of a data track what its sectors are. Empty
/// when there is nothing to tell: no track, or only guessed ones. docs/formats/tracks has the words.
std::string cue_text(const std::vector<Track>& tracks, const std::string& name, std::uint64_t first_lba,
                     const RangeSet& mode_2);

}  // namespace lacuna
