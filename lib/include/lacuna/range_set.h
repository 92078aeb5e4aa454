// SPDX-License-Identifier: GPL-3.0-or-later
// RangeSet: sorted disjoint half-open ranges of 64-bit numbers (bytes or sectors; the user's names say which).
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "lacuna/export.h"

namespace lacuna {

/// [first, end)
struct LACUNA_API Range {
  std::uint64_t first = 0;
  std::uint64_t end = 0;

  constexpr std::uint64_t length() const noexcept { return end - first; }
  friend constexpr bool operator==(const Range&, const Range&) = default;
};

/// Sorted, disjoint, non-touching ranges. Reading from several threads is safe while none writes.
class LACUNA_API RangeSet {
 public:
  RangeSet() = default;
  /// From ranges in any order, overlapping or empty ones included. O(n log n), O(n) when already sorted.
  static RangeSet from_unsorted(std::vector<Range> ranges);

  /// Adds one range. Amortised O(1) at or after the end, else O(n).
  void add(Range r);
  RangeSet united(const RangeSet& other) const;
  RangeSet minus(const RangeSet& other) const;
  RangeSet intersected(const RangeSet& other) const;

  bool contains(std::uint64_t at) const noexcept;
  bool intersects(Range r) const noexcept;
  /// The number of elements, not of ranges.
  std::uint64_t total() const noexcept;
  bool empty() const noexcept { return ranges_.empty(); }
  std::span<const Range> ranges() const noexcept { return ranges_; }

  /// Index of the first range whose end is greater than `at`, searched by galloping from `hint`: O(log distance), so
  /// that a walk in ascending order costs O(1) a step. Gives ranges().size() when there is none.
  std::size_t first_ending_after(std::uint64_t at, std::size_t hint = 0) const noexcept;

  friend bool operator==(const RangeSet&, const RangeSet&) = default;

 private:
  std::vector<Range> ranges_;
};

}  // namespace lacuna
