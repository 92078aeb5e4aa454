// SPDX-License-Identifier: GPL-3.0-or-later
#include <algorithm>
#include <array>
#include <bit>

#include "combine/merge.h"

namespace lacuna {

std::string_view to_string(Settled how) noexcept {
  constexpr std::array<std::string_view, kSettledCount> kWords{"proven",   "repaired", "joined",     "agreed",
                                                               "majority", "alone",    "distrusted", "fill",
                                                               "conflict", "suspect",  "missing"};
  return kWords[static_cast<std::size_t>(how)];
}

void append_run(SettledRuns& to, const SettledRun& run) {
  if (run.count == 0) return;
  if (!to.empty() && to.back().end() == run.first && to.back().alike(run)) {
    to.back().count += run.count;
  } else {
    to.push_back(run);
  }
}

SettledRuns replaced(const SettledRuns& runs, const SettledRuns& fresh) {
  SettledRuns out;
  auto next = fresh.begin();
  // The part of `run` from `first` to `end`.
  const auto append_part = [&out](SettledRun run, std::uint64_t first, std::uint64_t end) {
    if (first >= end) return;
    run.first = first;
    run.count = end - first;
    append_run(out, run);
  };
  for (const SettledRun& run : runs) {
    std::uint64_t at = run.first;
    while (next != fresh.end() && next->first < run.end()) {
      append_part(run, at, next->first);
      const std::uint64_t from = std::max(at, next->first), to = std::min(run.end(), next->end());
      append_part(*next, from, to);
      at = to;
      if (next->end() > run.end()) break;
      ++next;
    }
    append_part(run, at, run.end());
  }
  return out;
}

ReadMask contradicted(const SettledRuns& runs) noexcept {
  ReadMask refuted = 0;
  for (const SettledRun& run : runs) {
    if (run.how != Settled::kConflict) refuted |= run.against;
  }
  ReadMask blamed = refuted;
  for (const SettledRun& run : runs) {
    if (run.how != Settled::kConflict) continue;
    // Where one party is known to err, it is the one; but others that differ among themselves are not cleared by that.
    const ReadMask taken = run.reads & ~refuted, others = run.against & ~refuted;
    const bool explained = ((run.reads | run.against) & refuted) != 0;
    const bool one_mind = others == 0 || (taken == 0 && std::has_single_bit(others));
    if (!explained || !one_mind) blamed |= run.reads | run.against;
  }
  return blamed;
}

void distrust(SettledRuns& runs) {
  const ReadMask wrong = contradicted(runs);
  SettledRuns out;
  out.reserve(runs.size());
  for (SettledRun run : runs) {
    if (run.how == Settled::kAlone && (run.reads & wrong) != 0) {
      run.how = Settled::kDistrusted;
      run.state = SectorState::kSuspect;
    }
    append_run(out, run);
  }
  runs = std::move(out);
}

}  // namespace lacuna
