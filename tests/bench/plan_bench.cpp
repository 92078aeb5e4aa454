// SPDX-License-Identifier: GPL-3.0-or-later
// The plan of a large disc: 25 GB, half a million files, a hundred thousand ranges of bad sectors.
#include <benchmark/benchmark.h>

#include <memory>
#include <random>
#include <string>
#include <vector>

#include "disc/disc_builder.h"
#include "lacuna/plan.h"
#include "lacuna/verdict.h"
#include "support/empty_source.h"

namespace {

using namespace lacuna;

struct LargeDisc {
  std::unique_ptr<Image> image;
  std::unique_ptr<const Disc> disc;
  Verdicts verdicts;
};

constexpr std::uint64_t kFiles = 500'000, kFileSectors = 25, kRanges = 100'000;

/// Where the bad ranges are.
enum Lie : int {
  kAllOver,
  kClose,  ///< In a twentieth of the disc, so that files and blocks hang together.
  kHalf,   ///< One range: half of the disc was never read.
};

/// Files of up to twice 25 sectors one behind the other.
LargeDisc large_disc(int lie) {
  std::mt19937_64 random(1);
  const std::uint64_t sectors = 1000 + kFiles * kFileSectors * 2;
  std::vector<SectorRun> bad;
  const std::uint64_t stride = (sectors - 1000) / kRanges / (lie == kClose ? 20 : 1);
  if (lie == kHalf) bad.push_back({sectors / 4, sectors / 2, SectorState::kUnread});
  for (std::uint64_t i = 0; i < kRanges && lie != kHalf; ++i) {
    bad.push_back({1000 + i * stride + random() % (stride / 2), 1 + random() % 4, SectorState::kBad});
  }
  std::vector<SectorMap> maps;
  maps.push_back(SectorMap::from_runs(std::move(bad)));
  LargeDisc large;
  large.image = Image::from_source(std::make_unique<test::EmptySource>(sectors), std::move(maps));
  DiscBuilder builder(*large.image);
  std::uint64_t lba = 1000;
  NodeId directory = kRoot;
  for (std::uint64_t i = 0; i < kFiles; ++i) {
    Node n;
    n.names[static_cast<std::size_t>(n.view)] = builder.tree().add_text(std::to_string(1'000'000 + i));
    if (i % 500 == 0) {
      n.kind = NodeKind::kDirectory;
      directory = builder.tree().add_child(kRoot, n);
      n.kind = NodeKind::kFile;
    }
    const std::uint64_t length = 1 + random() % (2 * kFileSectors - 1);
    n.size = length * kSectorBytes - 100;
    const Extent e{lba * kSectorBytes, n.size, 0, 0};
    builder.tree().add_extents(builder.tree().add_child(directory, n), std::span(&e, 1));
    lba += length;
  }
  large.disc = builder.finish();
  large.verdicts = *judge(*large.disc, {false, 1, {}});
  return large;
}

void BM_MakePlan(benchmark::State& state) {
  const LargeDisc large = large_disc(static_cast<int>(state.range(1)));
  PlanOptions options;
  options.medium = state.range(0) == 1 ? Medium::kCd : state.range(0) == 16 ? Medium::kDvd : Medium::kBd;
  std::size_t steps = 0;
  for (auto _ : state) {
    const Result<Plan> plan = make_plan(*large.disc, large.verdicts, options);
    steps = plan->steps.size();
  }
  state.counters["steps"] = static_cast<double>(steps);
}
BENCHMARK(BM_MakePlan)
    ->ArgNames({"block_sectors", "lie"})
    ->Args({1, 0})
    ->Args({16, 0})
    ->Args({32, 0})
    ->Args({1, 1})
    ->Args({16, 1})
    ->Args({32, 1})
    ->Args({1, kHalf})
    ->Args({32, kHalf})
    ->Unit(benchmark::kMillisecond);

}  // namespace
