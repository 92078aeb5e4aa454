// SPDX-License-Identifier: GPL-3.0-or-later
#include "capi/source.h"

#include <algorithm>

#include "capi/callbacks.h"
#include "capi/structs.h"
#include "capi/text.h"

namespace lacuna::capi {
namespace {

constexpr lacuna_sector_state kNotSet = 0xFF;

SectorState state_from(lacuna_sector_state given) noexcept {
  return given < kSectorStateCount ? static_cast<SectorState>(given) : SectorState::kBad;
}

SectorMap known_from(std::span<const lacuna_sector_run> given) {
  std::vector<SectorRun> runs;
  for (const lacuna_sector_run& run : given) {
    need(run.state < kSectorStateCount, "lacuna_source: a known run has a state that there is not");
    need(run.first_lba < kMaxSectors && run.count <= kMaxSectors - run.first_lba,
         "lacuna_source: a known run lies beyond LBA 2^32");
    if (run.count != 0) runs.push_back({run.first_lba, run.count, static_cast<SectorState>(run.state)});
  }
  return SectorMap::from_runs(std::move(runs));
}

}  // namespace

CallerSource::~CallerSource() {
  if (!owned_ || source_.release == nullptr) return;
  try {
    source_.release(source_.user);
  } catch (...) {  // there is nobody left to tell
  }
}

void CallerSource::read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const {
  std::ranges::fill(out, std::uint8_t{0});
  std::ranges::fill(states, SectorState::kAbsent);
  const std::uint64_t first = std::max(lba, first_lba());
  const std::uint64_t end = std::min(lba + states.size(), end_lba());
  if (first >= end) return;
  const auto from = static_cast<std::size_t>(first - lba), count = static_cast<std::size_t>(end - first);
  read_inside(first, out.subspan(from * kSectorBytes, count * kSectorBytes), states.subspan(from, count));
}

void CallerSource::read_inside(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const {
  std::vector<lacuna_sector_state> given(states.size(), kNotSet);
  {
    std::unique_lock lock(mutex_, std::defer_lock);
    if ((source_.flags & LACUNA_SOURCE_ONE_AT_A_TIME) != 0) lock.lock();
    call(source_.read, source_.user, lba, states.size(), out.data(), given.data());
  }
  for (std::size_t i = 0; i < states.size(); ++i) {
    const std::span<std::uint8_t> sector = out.subspan(i * kSectorBytes, kSectorBytes);
    states[i] = state_from(given[i]);
    if (!has_bytes(states[i])) std::ranges::fill(sector, std::uint8_t{0});
    if (lba + i + 1 == end_lba()) std::ranges::fill(sector.subspan(last_sector_bytes()), std::uint8_t{0});
  }
}

CheckedSource source_from(const lacuna_source* given) {
  need(given != nullptr, "lacuna_source is NULL");
  const lacuna_source s = options_from(given, "lacuna_source");
  need(s.read != nullptr, "lacuna_source: read is NULL");
  need(s.first_lba < s.end_lba && s.end_lba <= kMaxSectors,
       "lacuna_source: it must have a sector, and end at LBA 2^32 at the latest");
  need(s.last_sector_bytes <= kSectorBytes, "lacuna_source: last_sector_bytes is more than a sector");
  check_flags(s.flags, LACUNA_SOURCE_ONE_AT_A_TIME, "lacuna_source");
  CheckedSource checked;
  checked.name = text_from(s.name, "lacuna_source: name");
  if (checked.name.empty()) checked.name = "image";
  const auto known = array_from(s.known, s.known_count, "lacuna_source: known");
  if (!known.empty()) checked.maps.push_back(known_from(known));
  checked.source = std::make_unique<CallerSource>(s);
  return checked;
}

}  // namespace lacuna::capi
