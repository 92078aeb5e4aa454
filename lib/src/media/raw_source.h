// SPDX-License-Identifier: GPL-3.0-or-later
// The sectors of an image that holds whole CD sectors, each proven or repaired by its own codes.
#pragma once

#include <memory>
#include <string>

#include "lacuna/image.h"
#include "media/track_layout.h"

namespace lacuna {

struct RawOptions {
  unsigned threads = 0;  ///< 0: as many as the machine has.
  ProgressCallback progress;
  RangeSet bad_bytes;  ///< As SectorMap has it.
};

/// Most sectors of a CD that have an address (ECMA-130: two digits of minutes), and as many again.
inline constexpr std::uint64_t kMostRawSectors = std::uint64_t{1} << 20;

/// Looks at every data sector once. Stretches whose sync or addresses show that the image lost or gained bytes are put
/// where their headers say (findings: sectors-slipped, addresses-shifted). `name` stands in messages. Errors:
/// kNotReadable for more sectors than a CD has, kCancelled.
Result<std::unique_ptr<SectorSource>> make_raw_source(TrackLayout layout, const std::string& name,
                                                      const RawOptions& options, Findings& findings);

}  // namespace lacuna
