// SPDX-License-Identifier: GPL-3.0-or-later
// Raw CD sectors: their EDC, and what proving and repairing them costs. Targets, on one core: EDC 1.5 GB/s, repair
// 100 MB/s. The yardstick is a copy of the same bytes.
#include <benchmark/benchmark.h>

#include <algorithm>
#include <cstring>
#include <random>
#include <vector>

#include "media/cd/edc.h"
#include "media/cd/parity.h"
#include "media/cd/scrambler.h"
#include "support/raw_damage.h"

namespace lacuna {
namespace {

constexpr std::size_t kCount = 256;

std::vector<test::RawSector> mode_1_sectors() {
  std::mt19937_64 random(1);
  std::vector<test::RawSector> all;
  std::vector<std::uint8_t> payload(2048);
  for (std::size_t i = 0; i < kCount; ++i) {
    for (std::uint8_t& b : payload) b = static_cast<std::uint8_t>(random());
    all.push_back(test::encode_raw(SectorForm::kMode1, static_cast<std::int32_t>(i), payload));
  }
  return all;
}

void count_sectors(benchmark::State& state) {
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(kCount * kRawSectorBytes));
}

void raw_copy(benchmark::State& state) {
  const auto all = mode_1_sectors();
  auto copy = all;
  for (auto _ : state) {
    for (std::size_t i = 0; i < kCount; ++i) std::memcpy(copy[i].data(), all[i].data(), kRawSectorBytes);
    benchmark::DoNotOptimize(copy.data());
    benchmark::ClobberMemory();
  }
  count_sectors(state);
}
BENCHMARK(raw_copy);

template <std::uint32_t (*edc)(Bytes) noexcept>
void raw_edc(benchmark::State& state) {
  const auto all = mode_1_sectors();
  for (auto _ : state) {
    for (const auto& s : all) benchmark::DoNotOptimize(edc(s));
  }
  count_sectors(state);
}
BENCHMARK(raw_edc<cd::edc>)->Name("raw_edc");
BENCHMARK(raw_edc<cd::edc_by_tables>)->Name("raw_edc_by_tables");

void raw_syndromes(benchmark::State& state) {
  const auto all = mode_1_sectors();
  for (auto _ : state) {
    for (const auto& s : all) benchmark::DoNotOptimize(cd::syndromes(s));
  }
  count_sectors(state);
}
BENCHMARK(raw_syndromes);

void raw_scramble(benchmark::State& state) {
  auto all = mode_1_sectors();
  for (auto _ : state) {
    for (auto& s : all) cd::scramble(s);
    benchmark::DoNotOptimize(all.data());
  }
  count_sectors(state);
}
BENCHMARK(raw_scramble);

void raw_look(benchmark::State& state) {
  const auto all = mode_1_sectors();
  for (auto _ : state) {
    for (std::size_t i = 0; i < kCount; ++i) {
      benchmark::DoNotOptimize(cd::look(all[i], {.lba = static_cast<std::int32_t>(i), .form = SectorForm::kMode1}));
    }
  }
  count_sectors(state);
}
BENCHMARK(raw_look);

/// Each sector is put back before it is proven; that copy is in the time.
void raw_prove(benchmark::State& state, std::size_t burst) {
  auto all = mode_1_sectors();
  std::mt19937_64 random(2);
  if (burst != 0) {
    for (auto& s : all) test::damage_raw(s, test::RawDamage::kBurst, burst, random);
  }
  std::size_t bad = 0;
  test::RawSector work;
  for (auto _ : state) {
    for (std::size_t i = 0; i < kCount; ++i) {
      work = all[i];
      const auto r = cd::prove(work, {.lba = static_cast<std::int32_t>(i), .form = SectorForm::kMode1});
      bad += r.state == SectorState::kBad ? 1U : 0U;
      benchmark::DoNotOptimize(work);
    }
  }
  state.counters["bad"] = benchmark::Counter(static_cast<double>(bad), benchmark::Counter::kAvgIterations);
  count_sectors(state);
}
BENCHMARK_CAPTURE(raw_prove, intact, 0);
BENCHMARK_CAPTURE(raw_prove, burst_of_20, 20);
BENCHMARK_CAPTURE(raw_prove, burst_of_86, 86);
BENCHMARK_CAPTURE(raw_prove, burst_of_200, 200);
BENCHMARK_CAPTURE(raw_prove, all_lost, kRawSectorBytes);

}  // namespace
}  // namespace lacuna
