// SPDX-License-Identifier: GPL-3.0-or-later
// Hits: every unreadable range of a disc, and the files and structures that it hits.
#pragma once

#include <cstdint>
#include <vector>

#include "lacuna/blocks.h"
#include "lacuna/disc.h"
#include "lacuna/export.h"
#include "lacuna/verdict.h"

namespace lacuna {

/// One thing that a range hits: a structure (index into Disc::structures()) or a node.
struct LACUNA_API HitTarget {
  std::uint32_t structure = ~std::uint32_t{0};  ///< ~0: it is a file.
  NodeId node = kNoNode;
  /// Within the file or structure, where the range first touches it; bytes. Of a file that is stored compressed these
  /// are stored bytes.
  std::uint64_t offset = 0;
  std::uint64_t bytes = 0;  ///< How many of its bytes the range takes.
};

/// A run of sectors in one state that is neither good nor repaired.
struct LACUNA_API Hit {
  SectorRun run;
  std::uint32_t first_target = 0, target_count = 0;
  std::uint64_t idle_sectors = 0;  ///< Sectors of the run that nothing known uses.
};

/// What find_hits() found.
struct LACUNA_API Hits {
  LargeVector<Hit> hits;  ///< Ascending LBA; absent sectors outside the image only where something is on them.
  LargeVector<HitTarget> targets;
  /// False when so many files claim the same bytes (a hostile disc) that not every target is listed; every run is.
  bool complete = true;
};

/// Linear in extents plus runs after sorting the extents.
LACUNA_API Hits find_hits(const Disc& disc, const Verdicts& verdicts);

}  // namespace lacuna
