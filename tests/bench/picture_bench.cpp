// SPDX-License-Identifier: GPL-3.0-or-later
// The picture of a Blu-ray disc of 25 GB with a hundred thousand bad ranges, in both forms.
#include <benchmark/benchmark.h>

#include <memory>
#include <random>
#include <vector>

#include "lacuna/picture.h"
#include "support/empty_source.h"

namespace {

using namespace lacuna;

std::unique_ptr<Image> hurt_image(std::uint64_t ranges) {
  constexpr std::uint64_t kSectors = 12'219'392;
  std::mt19937_64 random(1);
  std::vector<SectorRun> bad;
  for (std::uint64_t i = 0; i < ranges; ++i) bad.push_back({random() % kSectors, 1 + random() % 8, SectorState::kBad});
  std::vector<SectorMap> maps;
  maps.push_back(SectorMap::from_runs(std::move(bad)));
  return Image::from_source(std::make_unique<test::EmptySource>(kSectors), std::move(maps));
}

void draw(benchmark::State& state, PictureFormat format) {
  const std::unique_ptr<Image> image = hurt_image(static_cast<std::uint64_t>(state.range(0)));
  std::size_t bytes = 0;
  for (auto _ : state) {
    bytes = 0;
    write_picture(*image, nullptr, {}, format, [&bytes](std::string_view piece) { bytes += piece.size(); });
  }
  state.counters["bytes"] = static_cast<double>(bytes);
}

void picture_svg(benchmark::State& state) { draw(state, PictureFormat::kSvg); }
void picture_png(benchmark::State& state) { draw(state, PictureFormat::kPng); }
BENCHMARK(picture_svg)->Arg(100)->Arg(100'000)->Unit(benchmark::kMillisecond);
BENCHMARK(picture_png)->Arg(100)->Arg(100'000)->Unit(benchmark::kMillisecond);

}  // namespace
