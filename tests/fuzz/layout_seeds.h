// SPDX-License-Identifier: GPL-3.0-or-later
// Sheets and containers of tracks for fuzzing to start from.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

namespace lacuna::test {

/// For "cue_sheet_fuzz" and "container_fuzz"; nothing for other targets.
std::vector<std::vector<std::uint8_t>> layout_seeds_for(std::string_view target);

}  // namespace lacuna::test
