// SPDX-License-Identifier: GPL-3.0-or-later
// NAME.reads.jsonl: which read gave which sectors of a combined image, and how each was settled (docs/cli).
#pragma once

#include <functional>
#include <string_view>

#include "combine/merge.h"

namespace lacuna {

/// Line by line to `write`, which gives 0 or an errno; so does this.
int write_reads_record(const CombineReport& report, std::span<const DiscRead> reads, const SettledRuns& runs,
                       const std::function<int(std::string_view)>& write);

}  // namespace lacuna
