// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/completed_reader.h"

#include <algorithm>

#include "salvage/gaps.h"

namespace lacuna {

std::size_t CompletedReader::read(std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps) {
  if (completion_ == nullptr) return own_.read(offset, out, gaps);
  found_.clear();
  const std::size_t got = own_.read(offset, out, found_);
  for (const Gap& gap : found_) complete(gap, offset, out, gaps);
  return got;
}

/// `out` begins at `offset` of the file, and the gap lies in it.
void CompletedReader::complete(const Gap& gap, std::uint64_t offset, std::span<std::uint8_t> out,
                               std::vector<Gap>& gaps) const {
  const RangeSet& covered = completion_->covered;
  std::uint64_t at = gap.offset;
  const std::uint64_t end = gap.offset + gap.length;
  for (std::size_t i = covered.first_ending_after(at); at < end; ++i) {
    const bool more = i < covered.ranges().size() && covered.ranges()[i].first < end;
    const std::uint64_t first = more ? std::max(at, covered.ranges()[i].first) : end;
    append_gap(gaps, at, first - at, gap.state);
    if (!more) return;
    at = std::min(end, covered.ranges()[i].end);
    const auto part = out.subspan(static_cast<std::size_t>(first - offset), static_cast<std::size_t>(at - first));
    if (completions_->read(file_, first, part)) continue;
    std::fill(part.begin(), part.end(), std::uint8_t{0});
    append_gap(gaps, first, part.size(), SectorState::kBad);
  }
}

}  // namespace lacuna
