// SPDX-License-Identifier: GPL-3.0-or-later
// Comparing a file here with one of its size on a donor, byte by byte, wherever both can be read.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>

#include "lacuna/content.h"
#include "lacuna/range_set.h"

namespace lacuna {

struct TwinComparison {
  std::optional<std::uint64_t>
      differs_at;                   ///< First byte that is good in both and not equal; nothing else then counts.
  std::uint64_t shared_bytes = 0;   ///< Good in both.
  std::uint64_t shared_blocks = 0;  ///< Telling ones, no two alike, up to kMostTwinBlocks.
  RangeSet gives;                   ///< Lacking here and good there.
  /// Each stretch of `gives` lies, there, in one readable stretch with a telling block that both have.
  bool anchored = true;
  bool worse_here = false;  ///< Reading showed more bytes missing here than are known to lack.
  bool given_up = false;    ///< `proceed` said so.
};

/// `lacking`: the bytes that are not good here, and maybe good ones between, which are compared like all others.
/// `proceed` is told how many bytes come next, and says whether to go on.
TwinComparison compare_twins(FileReader& here, const RangeSet& lacking, FileReader& there,
                             const std::function<bool(std::uint64_t)>& proceed);

}  // namespace lacuna
