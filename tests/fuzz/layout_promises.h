// SPDX-License-Identifier: GPL-3.0-or-later
// What every TrackLayout is held to, whatever sheet or container it was made from.
#pragma once

#include <string>

#include "fuzz/promise.h"
#include "lacuna/states.h"
#include "media/track_layout.h"

namespace lacuna::test {

inline void check_error(const Error& error) {
  require(!error.message.empty() && error.message.find('\n') == std::string::npos, "an error is one line");
}

inline void check_layout(const TrackLayout& layout) {
  require(layout.end_lba <= kMaxSectors, "a layout ends on a disc");
  require(!layout.tracks.empty() && layout.tracks.size() <= 99, "there are 1 to 99 tracks");
  std::uint64_t reached = 0;
  for (const StoredRun& run : layout.runs) {
    require(run.sectors > 0 && run.first_lba >= reached && run.sectors <= layout.end_lba - run.first_lba,
            "runs ascend, apart from one another, up to the end");
    reached = run.first_lba + run.sectors;
    require(run.store < layout.stores.size(), "a run has a store");
    const std::uint64_t size = layout.stores[run.store]->size_bytes();
    require(run.at_byte <= size && run.sectors <= (size - run.at_byte) / run.unit.bytes, "a run lies in its store");
    require(run.unit.at + run.unit.held_bytes() <= run.unit.bytes, "what a unit holds lies in it");
  }
  std::uint64_t last = 0;
  for (const Track& track : layout.tracks) {
    require(track.number >= 1 && track.number <= 99, "tracks have two digits");
    require(track.first_lba >= last && track.pregap_sectors <= track.first_lba, "tracks ascend, from their pregaps on");
    require(track.first_lba <= layout.end_lba && track.sectors <= layout.end_lba - track.first_lba,
            "tracks lie in the layout");
    last = track.first_lba;
  }
}

}  // namespace lacuna::test
