// SPDX-License-Identifier: GPL-3.0-or-later
// Judging: a million extents against a million ranges, hits of the same, and the speed of looking inside.
#include <benchmark/benchmark.h>

#include <algorithm>
#include <cstring>
#include <memory>
#include <random>
#include <string>
#include <vector>

#include "disc/disc_builder.h"
#include "lacuna/content.h"
#include "lacuna/hits.h"
#include "lacuna/verdict.h"
#include "salvage/uniform_fill.h"

namespace {

using namespace lacuna;

/// Sectors of one repeated mebibyte of noise; as many as one likes, at the cost of a copy.
class NoiseSource final : public SectorSource {
 public:
  explicit NoiseSource(std::uint64_t sectors) : sectors_(sectors), noise_(std::size_t{1} << 20) {
    std::mt19937 random(1);
    for (std::uint8_t& b : noise_) b = static_cast<std::uint8_t>(random());
  }
  std::uint64_t end_lba() const noexcept override { return sectors_; }
  const RangeSet& holes() const noexcept override { return holes_; }
  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    std::fill(states.begin(), states.end(), SectorState::kGood);
    std::size_t from = static_cast<std::size_t>(lba * kSectorBytes % noise_.size());
    while (!out.empty()) {
      const std::size_t n = std::min(out.size(), noise_.size() - from);
      std::memcpy(out.data(), noise_.data() + from, n);
      out = out.subspan(n);
      from = 0;
    }
  }

 private:
  std::uint64_t sectors_;
  std::vector<std::uint8_t> noise_;
  RangeSet holes_;
};

struct Setup {
  std::unique_ptr<Image> image;
  std::unique_ptr<const Disc> disc;
};

/// `files` files of 5000 bytes, three sectors each, and as many bad ranges of one sector, evenly spread.
Setup million(std::uint64_t files, bool shuffled, bool with_map) {
  const std::uint64_t sectors = files * 3 + 20;
  std::vector<SectorRun> bad;
  if (with_map) {
    for (std::uint64_t i = 0; i < files; ++i) bad.push_back({20 + i * 3 + i % 2, 1, SectorState::kBad});
  }
  std::vector<SectorMap> maps;
  if (with_map) maps.push_back(SectorMap::from_runs(std::move(bad)));
  Setup s;
  s.image = Image::from_source(std::make_unique<NoiseSource>(sectors), std::move(maps));
  std::vector<std::uint64_t> order(files);
  for (std::uint64_t i = 0; i < files; ++i) order[i] = i;
  if (shuffled) std::shuffle(order.begin(), order.end(), std::mt19937(2));
  // Names without operator+, of which g++ 12 warns wrongly (-Wrestrict).
  const auto name = [](char kind, std::uint64_t number) {
    std::string text(1, kind);
    return text.append(std::to_string(number + 10'000));
  };
  DiscBuilder builder(*s.image);
  NodeId directory = kRoot;
  for (std::uint64_t i = 0; i < files; ++i) {
    Node n;
    if (i % 1000 == 0) {
      n.kind = NodeKind::kDirectory;
      n.names[static_cast<std::size_t>(n.view)] = builder.tree().add_text(name('D', i / 1000));
      directory = builder.tree().add_child(kRoot, n);
      n = Node{};
    }
    n.size = 5000;
    n.names[static_cast<std::size_t>(n.view)] = builder.tree().add_text(name('F', i % 1000));
    const Extent e{(20 + order[i] * 3) * kSectorBytes, 5000, 0, 0};
    builder.tree().add_extents(builder.tree().add_child(directory, n), std::span(&e, 1));
  }
  s.disc = builder.finish();
  return s;
}

void BM_Judge(benchmark::State& state) {
  const Setup s = million(static_cast<std::uint64_t>(state.range(0)), state.range(1) != 0, true);
  for (auto _ : state) {
    const Result<Verdicts> v = judge(*s.disc);
    benchmark::DoNotOptimize(v->hurt_directories());
  }
}
BENCHMARK(BM_Judge)
    ->ArgNames({"extents_and_ranges", "shuffled"})
    ->Args({100'000, 0})
    ->Args({1'000'000, 0})
    ->Args({1'000'000, 1})
    ->Unit(benchmark::kMillisecond);

void BM_FindHits(benchmark::State& state) {
  const Setup s = million(static_cast<std::uint64_t>(state.range(0)), true, true);
  const Result<Verdicts> v = judge(*s.disc);
  for (auto _ : state) benchmark::DoNotOptimize(find_hits(*s.disc, *v).hits.size());
}
BENCHMARK(BM_FindHits)->Arg(1'000'000)->Unit(benchmark::kMillisecond);

void BM_UniformPeriod(benchmark::State& state) {
  std::vector<std::uint8_t> bytes(std::size_t{1} << 26);
  std::mt19937 random(3);
  // Kinds of data: 0 noise, 1 all zeros, 2 text-like with few different bytes.
  for (std::uint8_t& b : bytes) {
    if (state.range(0) != 1) b = static_cast<std::uint8_t>(state.range(0) == 0 ? random() : 'a' + random() % 3);
  }
  for (auto _ : state) {
    unsigned sum = 0;
    for (std::size_t at = 0; at < bytes.size(); at += kSectorBytes) {
      sum += uniform_period(std::span(bytes).subspan(at, kSectorBytes));
    }
    benchmark::DoNotOptimize(sum);
  }
  state.SetBytesProcessed(static_cast<std::int64_t>(state.iterations()) * static_cast<std::int64_t>(bytes.size()));
}
BENCHMARK(BM_UniformPeriod)->ArgName("kind")->DenseRange(0, 2);

void BM_LookInside(benchmark::State& state) {
  const Setup s = million(100'000, false, false);
  for (auto _ : state) {
    const Result<Verdicts> v = judge(*s.disc, {true, static_cast<unsigned>(state.range(0)), {}});
    benchmark::DoNotOptimize(v->hurt_directories());
  }
  state.SetBytesProcessed(static_cast<std::int64_t>(state.iterations()) * 300'000 * kSectorBytes);
}
BENCHMARK(BM_LookInside)->ArgName("threads")->Arg(1)->Arg(2)->Unit(benchmark::kMillisecond)->UseRealTime();

void BM_FileReader(benchmark::State& state) {
  const std::uint64_t sectors = 100'000;
  const auto image = Image::from_source(std::make_unique<NoiseSource>(sectors), {SectorMap()});
  DiscBuilder builder(*image);
  Node n;
  n.size = sectors * kSectorBytes;
  const Extent e{0, n.size, 0, 0};
  builder.tree().add_extents(builder.tree().add_child(kRoot, n), std::span(&e, 1));
  const auto disc = builder.finish();
  std::vector<std::uint8_t> out(static_cast<std::size_t>(state.range(0)));
  std::vector<Gap> gaps;
  for (auto _ : state) {
    FileReader reader(*disc, 1);
    for (std::uint64_t at = 0; const std::size_t got = reader.read(at, out, gaps); at += got) {
      benchmark::DoNotOptimize(out.data());
    }
  }
  state.SetBytesProcessed(static_cast<std::int64_t>(state.iterations()) * static_cast<std::int64_t>(n.size));
}
BENCHMARK(BM_FileReader)->ArgName("read_bytes")->Arg(4096)->Arg(65'536)->Arg(1 << 20);

}  // namespace
