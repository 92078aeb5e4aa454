// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/sector_map.h"

#include <algorithm>
#include <limits>
#include <numeric>
#include <queue>
#include <utility>

namespace lacuna {
namespace {

constexpr std::uint64_t kEndOfAll = std::numeric_limits<std::uint64_t>::max();

void append_joined(std::vector<SectorRun>& to, std::uint64_t first, std::uint64_t end, SectorState state) {
  if (first >= end) return;
  if (!to.empty() && to.back().state == state && to.back().end() == first) {
    to.back().count += end - first;
  } else {
    to.push_back({first, end - first, state});
  }
}

bool sorted_and_disjoint(const std::vector<SectorRun>& runs) noexcept {
  for (std::size_t i = 1; i < runs.size(); ++i) {
    if (runs[i].first < runs[i - 1].end()) return false;
  }
  return true;
}

// Sweeps over the borders with the runs that are open at each place; the open run that came last in the list wins.
std::vector<SectorRun> flattened(const std::vector<SectorRun>& runs) {
  std::vector<std::size_t> order(runs.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return runs[a].first < runs[b].first; });
  std::vector<SectorRun> out;
  std::priority_queue<std::size_t> open;
  std::uint64_t at = 0;
  std::size_t next = 0;
  while (next < order.size() || !open.empty()) {
    if (open.empty()) at = std::max(at, runs[order[next]].first);
    while (next < order.size() && runs[order[next]].first <= at) open.push(order[next++]);
    while (!open.empty() && runs[open.top()].end() <= at) open.pop();
    if (open.empty()) continue;
    const SectorRun& winner = runs[open.top()];
    const std::uint64_t end = next < order.size() ? std::min(winner.end(), runs[order[next]].first) : winner.end();
    append_joined(out, at, end, winner.state);
    at = end;
  }
  return out;
}

// The first run that ends after `lba`.
template <class Runs>
auto run_from(const Runs& runs, std::uint64_t lba) noexcept {
  return std::partition_point(runs.begin(), runs.end(), [lba](const SectorRun& r) { return r.end() <= lba; });
}

}  // namespace

SectorMap SectorMap::from_runs(std::vector<SectorRun> runs, SectorState default_state) {
  for (SectorRun& r : runs) r.count = std::min(r.count, kEndOfAll - r.first);
  std::erase_if(runs, [](const SectorRun& r) { return r.count == 0; });
  SectorMap map(default_state);
  if (sorted_and_disjoint(runs)) {
    map.runs_.reserve(runs.size());
    for (const SectorRun& r : runs) append_joined(map.runs_, r.first, r.end(), r.state);
  } else {
    map.runs_ = flattened(runs);
  }
  return map;
}

SectorState SectorMap::at(std::uint64_t lba) const noexcept {
  const auto run = run_from(runs_, lba);
  return run != runs_.end() && run->first <= lba ? run->state : default_;
}

bool SectorMap::lists(std::uint64_t lba) const noexcept {
  const auto run = run_from(runs_, lba);
  return run != runs_.end() && run->first <= lba;
}

std::vector<SectorRun> SectorMap::slice(std::uint64_t first, std::uint64_t end) const {
  std::vector<SectorRun> out;
  std::uint64_t at = first;
  for (auto run = run_from(runs_, first); run != runs_.end() && run->first < end; ++run) {
    append_joined(out, at, run->first, default_);
    at = std::max(at, run->first);
    const std::uint64_t stop = std::min(run->end(), end);
    append_joined(out, at, stop, run->state);
    at = stop;
  }
  append_joined(out, at, end, default_);
  return out;
}

SectorMap SectorMap::worst_with(const SectorMap& other) const {
  SectorMap out(std::max(default_, other.default_));
  out.basis_ = std::min(basis_, other.basis_);
  out.bad_bytes_ = bad_bytes_.united(other.bad_bytes_);
  out.runs_.reserve(std::max(runs_.size(), other.runs_.size()));
  auto a = runs_.begin();
  auto b = other.runs_.begin();
  for (std::uint64_t at = 0;;) {
    while (a != runs_.end() && a->end() <= at) ++a;
    while (b != other.runs_.end() && b->end() <= at) ++b;
    const bool in_a = a != runs_.end() && a->first <= at;
    const bool in_b = b != other.runs_.end() && b->first <= at;
    // The next place where either of the two begins or ends a run.
    std::uint64_t end = kEndOfAll;
    if (a != runs_.end()) end = std::min(end, in_a ? a->end() : a->first);
    if (b != other.runs_.end()) end = std::min(end, in_b ? b->end() : b->first);
    if (in_a || in_b) {
      append_joined(out.runs_, at, end, std::max(in_a ? a->state : default_, in_b ? b->state : other.default_));
    } else if (a == runs_.end() && b == other.runs_.end()) {
      return out;
    }
    at = end;
  }
}

}  // namespace lacuna
