// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/sampling.h"

#include <algorithm>
#include <utility>

namespace lacuna {

RangeSet good_lbas(const SectorMap& states) {
  std::vector<Range> good;
  for (const SectorRun& run : states.runs()) {
    if (run.state <= SectorState::kRepaired) good.push_back({run.first, run.end()});
  }
  return RangeSet::from_unsorted(std::move(good));
}

std::vector<std::uint64_t> spread_over(const RangeSet& lbas, std::size_t most) {
  const std::uint64_t total = lbas.total();
  const std::uint64_t count = std::min<std::uint64_t>(total, most);
  std::vector<std::uint64_t> out;
  out.reserve(static_cast<std::size_t>(count));
  std::uint64_t before = 0;
  std::uint64_t next = 0;
  for (const Range& r : lbas.ranges()) {
    for (; next < count; ++next) {
      const std::uint64_t index = total / count * next + total % count * next / count;
      if (index - before >= r.length()) break;
      out.push_back(r.first + (index - before));
    }
    before += r.length();
  }
  return out;
}

}  // namespace lacuna
