// SPDX-License-Identifier: GPL-3.0-or-later
// Looking for structures in sectors that hold none: what a scan does nearly all of its time.
#include <benchmark/benchmark.h>

#include <random>
#include <string_view>
#include <vector>

#include "iso9660/remains.h"

namespace {

using namespace lacuna;

constexpr std::size_t kBytes = std::size_t{4} << 20;

std::vector<std::uint8_t> noise() {
  std::mt19937 random(1);
  std::vector<std::uint8_t> bytes(kBytes);
  for (std::uint8_t& b : bytes) b = static_cast<std::uint8_t>(random());
  return bytes;
}

std::vector<std::uint8_t> text() {
  constexpr std::string_view kWords = "a letter from the harbour, written in the winter of that year; ";
  std::vector<std::uint8_t> bytes(kBytes);
  for (std::size_t i = 0; i < bytes.size(); ++i) bytes[i] = static_cast<std::uint8_t>(kWords[i % kWords.size()]);
  return bytes;
}

/// Small numbers of 32 bits: much zero, as in programs and tables.
std::vector<std::uint8_t> numbers() {
  std::mt19937 random(2);
  std::vector<std::uint8_t> bytes(kBytes);
  for (std::size_t i = 0; i < bytes.size(); i += 4) bytes[i] = static_cast<std::uint8_t>(random());
  return bytes;
}

void look_at(benchmark::State& state, const std::vector<std::uint8_t>& bytes) {
  iso9660::Remains remains;
  for (auto _ : state) {
    remains.look_at(bytes, bytes.size(), 0);
    benchmark::DoNotOptimize(remains.empty());
  }
  state.SetBytesProcessed(static_cast<std::int64_t>(bytes.size()) * state.iterations());
  state.counters["sectors/s"] = benchmark::Counter(
      static_cast<double>(bytes.size() / 2048) * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
}

void iso9660_noise(benchmark::State& state) { look_at(state, noise()); }
void iso9660_text(benchmark::State& state) { look_at(state, text()); }
void iso9660_numbers(benchmark::State& state) { look_at(state, numbers()); }
void iso9660_zeros(benchmark::State& state) { look_at(state, std::vector<std::uint8_t>(kBytes)); }
BENCHMARK(iso9660_noise);
BENCHMARK(iso9660_text);
BENCHMARK(iso9660_numbers);
BENCHMARK(iso9660_zeros);

}  // namespace
