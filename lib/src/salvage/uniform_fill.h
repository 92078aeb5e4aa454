// SPDX-License-Identifier: GPL-3.0-or-later
// The uniform-fill rule: whoever made an image without a map may have filled what could not be read with a pattern,
// so a sector that a short pattern fills from end to end proves nothing. docs/limits has the rule and what it costs.
#pragma once

#include "lacuna/image.h"
#include "lacuna/progress.h"
#include "lacuna/range_set.h"
#include "lacuna/result.h"

namespace lacuna {

/// Reads all sectors of `lbas` once, ascending, on `threads` threads (at least one), and gives those that a short
/// pattern fills and whose state says nothing worse. `progress` is called from the calling thread. Errors:
/// kCancelled.
Result<RangeSet> find_uniform_fill(const Image& image, const RangeSet& lbas, unsigned threads,
                                   const ProgressCallback& progress);

}  // namespace lacuna
