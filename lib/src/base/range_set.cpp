// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/range_set.h"

#include <algorithm>

namespace lacuna {
namespace {

// Appends to a list sorted by first, joining what overlaps or touches its last range.
void append_joined(std::vector<Range>& to, Range r) {
  if (r.first >= r.end) return;
  if (!to.empty() && r.first <= to.back().end) {
    to.back().end = std::max(to.back().end, r.end);
  } else {
    to.push_back(r);
  }
}

bool by_first(const Range& a, const Range& b) noexcept { return a.first < b.first; }

}  // namespace

RangeSet RangeSet::from_unsorted(std::vector<Range> ranges) {
  if (!std::is_sorted(ranges.begin(), ranges.end(), by_first)) std::sort(ranges.begin(), ranges.end(), by_first);
  RangeSet set;
  set.ranges_.reserve(ranges.size());
  for (const Range& r : ranges) append_joined(set.ranges_, r);
  return set;
}

void RangeSet::add(Range r) {
  if (r.first >= r.end) return;
  if (ranges_.empty() || r.first >= ranges_.back().first) {
    append_joined(ranges_, r);
    return;
  }
  // [from, to) are the ranges that overlap or touch r; they become one.
  const auto from = std::lower_bound(ranges_.begin(), ranges_.end(), r.first,
                                     [](const Range& a, std::uint64_t at) { return a.end < at; });
  const auto to =
      std::upper_bound(from, ranges_.end(), r.end, [](std::uint64_t at, const Range& a) { return at < a.first; });
  if (from == to) {
    ranges_.insert(from, r);
    return;
  }
  from->first = std::min(from->first, r.first);
  from->end = std::max(std::prev(to)->end, r.end);
  ranges_.erase(std::next(from), to);
}

RangeSet RangeSet::united(const RangeSet& other) const {
  RangeSet out;
  out.ranges_.reserve(std::max(ranges_.size(), other.ranges_.size()));
  auto a = ranges_.begin();
  auto b = other.ranges_.begin();
  while (a != ranges_.end() || b != other.ranges_.end()) {
    const bool take_a = b == other.ranges_.end() || (a != ranges_.end() && a->first <= b->first);
    append_joined(out.ranges_, take_a ? *a++ : *b++);
  }
  return out;
}

RangeSet RangeSet::minus(const RangeSet& other) const {
  RangeSet out;
  std::size_t hint = 0;
  for (const Range& r : ranges_) {
    std::uint64_t at = r.first;
    hint = other.first_ending_after(at, hint);
    for (std::size_t i = hint; i < other.ranges_.size() && other.ranges_[i].first < r.end; ++i) {
      append_joined(out.ranges_, {at, other.ranges_[i].first});
      at = other.ranges_[i].end;
      hint = i;
    }
    append_joined(out.ranges_, {at, r.end});
  }
  return out;
}

RangeSet RangeSet::intersected(const RangeSet& other) const {
  RangeSet out;
  std::size_t hint = 0;
  for (const Range& r : ranges_) {
    hint = other.first_ending_after(r.first, hint);
    for (std::size_t i = hint; i < other.ranges_.size() && other.ranges_[i].first < r.end; ++i) {
      append_joined(out.ranges_, {std::max(r.first, other.ranges_[i].first), std::min(r.end, other.ranges_[i].end)});
      hint = i;
    }
  }
  return out;
}

bool RangeSet::contains(std::uint64_t at) const noexcept {
  const std::size_t i = first_ending_after(at);
  return i < ranges_.size() && ranges_[i].first <= at;
}

bool RangeSet::intersects(Range r) const noexcept {
  if (r.first >= r.end) return false;
  const std::size_t i = first_ending_after(r.first);
  return i < ranges_.size() && ranges_[i].first < r.end;
}

std::uint64_t RangeSet::total() const noexcept {
  std::uint64_t sum = 0;
  for (const Range& r : ranges_) sum += r.length();
  return sum;
}

std::size_t RangeSet::first_ending_after(std::uint64_t at, std::size_t hint) const noexcept {
  const std::size_t n = ranges_.size();
  // The answer lies in [low, high]: every range before low ends at or before `at`, the range at high ends after it.
  std::size_t low = 0;
  std::size_t high = n;
  std::size_t step = 1;
  if (hint >= n || ranges_[hint].end > at) {
    high = std::min(hint, n);
    while (high > low) {
      const std::size_t probe = high > step ? high - step : 0;
      if (ranges_[probe].end <= at) {
        low = probe + 1;
        break;
      }
      high = probe;
      step *= 2;
    }
  } else {
    low = hint + 1;
    while (low < high) {
      const std::size_t probe = high - low > step ? low + step - 1 : high - 1;
      if (ranges_[probe].end > at) {
        high = probe;
        break;
      }
      low = probe + 1;
      step *= 2;
    }
  }
  const auto begin = ranges_.begin();
  const auto found =
      std::partition_point(begin + static_cast<std::ptrdiff_t>(low), begin + static_cast<std::ptrdiff_t>(high),
                           [at](const Range& r) { return r.end <= at; });
  return static_cast<std::size_t>(found - begin);
}

}  // namespace lacuna
