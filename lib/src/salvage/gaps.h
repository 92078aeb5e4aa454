// SPDX-License-Identifier: GPL-3.0-or-later
// Small helpers for stretches of bytes that are not good.
#pragma once

#include <cstdint>
#include <vector>

#include "lacuna/states.h"
#include "lacuna/verdict.h"

namespace lacuna {

/// True when nothing speaks against a sector's bytes.
constexpr bool is_sound(SectorState s) noexcept { return s <= SectorState::kRepaired; }

/// a + b, or the greatest number when that overflows: lengths on a disc may be anything.
constexpr std::uint64_t saturating_add(std::uint64_t a, std::uint64_t b) noexcept {
  return a > ~std::uint64_t{0} - b ? ~std::uint64_t{0} : a + b;
}

/// Appends a gap, joined with the last one when it continues it in the same state.
inline void append_gap(std::vector<Gap>& gaps, std::uint64_t offset, std::uint64_t length, SectorState state) {
  if (length == 0) return;
  if (!gaps.empty() && gaps.back().state == state && gaps.back().offset + gaps.back().length == offset) {
    gaps.back().length += length;
  } else {
    gaps.push_back({offset, length, state});
  }
}

}  // namespace lacuna
