// SPDX-License-Identifier: GPL-3.0-or-later
// Recognising an image of whole CD sectors that nothing describes: by its syncs, its headers, its subheaders.
#pragma once

#include <optional>
#include <vector>

#include "media/piece_source.h"
#include "media/settle_runs.h"

namespace lacuna {

/// By voting over samples of the whole image: how long a unit is, where the first one begins, which address it has.
/// Then the layout takes the pieces' stores. Nothing: the image is not raw, or can't be told from one that holds such
/// an image as a file; `pieces` is as it was. `starts_at`: LBA of the first sector, where sectors have no headers.
std::optional<TrackLayout> recognise_raw(std::vector<Piece>& pieces, std::uint64_t starts_at);

/// The tracks of an image that nothing describes: one of data, and what has no sync before or behind it as audio, if it
/// is two seconds or more and not silent. Guesses, and marked so.
void name_tracks(TrackLayout& layout, SectorMarks& marks, const std::string& name, Findings& findings);

}  // namespace lacuna
