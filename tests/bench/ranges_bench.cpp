// SPDX-License-Identifier: GPL-3.0-or-later
// Extents against bad ranges: the question that is asked of every file. Target: a million against a million in 0.3 s.
#include <benchmark/benchmark.h>

#include <algorithm>
#include <cstdint>
#include <random>
#include <vector>

#include "lacuna/range_set.h"
#include "lacuna/sector_map.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kSectors = std::uint64_t{1} << 26;  // 128 GiB

std::vector<Range> random_ranges(std::size_t count, std::uint64_t longest, std::uint32_t seed) {
  std::mt19937_64 random(seed);
  std::vector<Range> out;
  out.reserve(count);
  for (std::size_t i = 0; i < count; ++i) {
    const std::uint64_t first = random() % kSectors;
    out.push_back({first, first + 1 + random() % longest});
  }
  return out;
}

// Bad sectors in the extent, walking on from `hint`.
std::uint64_t overlap(const RangeSet& bad, Range extent, std::size_t& hint) {
  std::uint64_t sum = 0;
  hint = bad.first_ending_after(extent.first, hint);
  for (std::size_t i = hint; i < bad.ranges().size() && bad.ranges()[i].first < extent.end; ++i) {
    sum += std::min(extent.end, bad.ranges()[i].end) - std::max(extent.first, bad.ranges()[i].first);
  }
  return sum;
}

void extents_in_disc_order(benchmark::State& state) {
  const auto count = static_cast<std::size_t>(state.range(0));
  const RangeSet bad = RangeSet::from_unsorted(random_ranges(count, 8, 1));
  std::vector<Range> extents = random_ranges(count, 60, 2);
  std::sort(extents.begin(), extents.end(), [](const Range& a, const Range& b) { return a.first < b.first; });
  for (auto _ : state) {
    std::size_t hint = 0;
    std::uint64_t sum = 0;
    for (const Range& extent : extents) sum += overlap(bad, extent, hint);
    benchmark::DoNotOptimize(sum);
  }
  state.counters["bad_ranges"] = static_cast<double>(bad.ranges().size());
}
BENCHMARK(extents_in_disc_order)->Arg(1'000'000)->Unit(benchmark::kMillisecond);

void extents_in_any_order(benchmark::State& state) {
  const auto count = static_cast<std::size_t>(state.range(0));
  const RangeSet bad = RangeSet::from_unsorted(random_ranges(count, 8, 1));
  const std::vector<Range> extents = random_ranges(count, 60, 2);
  for (auto _ : state) {
    std::uint64_t sum = 0;
    for (const Range& extent : extents) {
      std::size_t hint = bad.ranges().size() / 2;
      sum += overlap(bad, extent, hint);
    }
    benchmark::DoNotOptimize(sum);
  }
}
BENCHMARK(extents_in_any_order)->Arg(1'000'000)->Unit(benchmark::kMillisecond);

void map_from_overlapping_runs(benchmark::State& state) {
  std::vector<SectorRun> runs;
  for (const Range& r : random_ranges(static_cast<std::size_t>(state.range(0)), 100, 3)) {
    runs.push_back({r.first, r.length(), static_cast<SectorState>(r.first % kSectorStateCount)});
  }
  for (auto _ : state) benchmark::DoNotOptimize(SectorMap::from_runs(runs));
}
BENCHMARK(map_from_overlapping_runs)->Arg(1'000'000)->Unit(benchmark::kMillisecond);

void map_from_text(benchmark::State& state) {
  std::string text;
  for (std::int64_t i = 0; i < state.range(0); ++i) text += std::to_string(i * 10) + " 3 bad\n";
  for (auto _ : state) benchmark::DoNotOptimize(parse_sector_map(text, "text").ok());
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(text.size()));
}
BENCHMARK(map_from_text)->Arg(1'000'000)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace lacuna
