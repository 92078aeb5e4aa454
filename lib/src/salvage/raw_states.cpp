// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/raw_states.h"

#include <algorithm>
#include <vector>

#include "salvage/gaps.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kProbeSectors = 256;

/// Those of the sectors that are not sound, as reading them shows.
std::vector<SectorRun> probe(const Image& image, const RangeSet& lbas) {
  std::vector<std::uint8_t> bytes(kProbeSectors * kRawSectorBytes);
  std::vector<SectorState> states(kProbeSectors);
  std::vector<SectorRun> found;
  for (const Range& r : lbas.ranges()) {
    for (std::uint64_t at = r.first; at < r.end; at += kProbeSectors) {
      const auto count = static_cast<std::size_t>(std::min(kProbeSectors, r.end - at));
      image.read_raw(at, std::span(bytes).first(count * kRawSectorBytes), std::span(states).first(count));
      for (std::size_t i = 0; i < count; ++i) {
        if (is_sound(states[i])) continue;
        const std::uint64_t lba = at + i;
        if (!found.empty() && found.back().state == states[i] && found.back().end() == lba) {
          ++found.back().count;
        } else {
          found.push_back({lba, 1, states[i]});
        }
      }
    }
  }
  return found;
}

}  // namespace

SectorMap whole_sector_states(const Image& image, const RangeSet& lbas) {
  const RawSectors* raw = image.raw();
  if (raw == nullptr) {
    return SectorMap::from_runs({{image.first_lba(), image.end_lba() - image.first_lba(), SectorState::kAbsent}},
                                SectorState::kAbsent);
  }
  const auto said = [&] {
    const auto runs = raw->proof().runs();
    return image.states().worst_with(SectorMap::from_runs({runs.begin(), runs.end()}));
  };
  std::vector<Range> inside;  // sectors that may be sound
  const SectorMap before = said();
  for (const SectorRun& run : before.runs()) {
    if (is_sound(run.state)) inside.push_back({run.first, run.end()});
  }
  // Nothing but reading tells whether an image that knows a sector's form also has it whole.
  std::vector<SectorRun> found = probe(image, lbas.intersected(RangeSet::from_unsorted(std::move(inside))));
  return said().worst_with(SectorMap::from_runs(std::move(found)));
}

}  // namespace lacuna
