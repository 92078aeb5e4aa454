// SPDX-License-Identifier: GPL-3.0-or-later
// Draws the picture in docs/picture.md: a CD of 1.3 m/s with radial scratches, a rim that has faded, a label defect, and
// an image that was cut short. Usage: disc_picture --svg FILE | --png FILE
#include <CLI/CLI.hpp>
#include <cmath>
#include <fstream>
#include <memory>
#include <vector>

#include "lacuna/picture.h"
#include "support/empty_source.h"
#include "support/simulated_reads.h"

namespace {

using namespace lacuna;

constexpr std::uint64_t kSectors = 285'000;

std::unique_ptr<Image> hurt_disc() {
  std::vector<SectorRun> runs;
  for (const std::uint64_t lba : test::scratched(kSectors, 12).lbas) runs.push_back({lba, 1, SectorState::kBad});
  // The label has come off over an arc; its edges could still be read, or repaired.
  for (std::uint64_t lba = 0; lba < kSectors; ++lba) {
    const test::SpiralPlace p = test::place_on_cd(lba);
    const double angle = p.turns - std::floor(p.turns), off = std::hypot((angle - 0.62) * 6.28 * 41, p.radius_mm - 41);
    if (off < 13 && std::abs(p.radius_mm - 41) < 5) {
      runs.push_back({lba, 1, off < 9 ? SectorState::kSuspect : SectorState::kRepaired});
    }
  }
  runs.push_back({186'000, 4'000, SectorState::kUnread});
  runs.push_back({281'000, 4'000, SectorState::kAbsent});
  std::vector<SectorMap> maps;
  maps.push_back(SectorMap::from_runs(std::move(runs)));
  return Image::from_source(std::make_unique<test::EmptySource>(kSectors), std::move(maps), "harbour-1998.iso");
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("Draws the picture in docs/picture.md");
  std::string svg, png;
  app.add_option("--svg", svg, "Where to write it");
  app.add_option("--png", png, "The same as PNG");
  CLI11_PARSE(app, argc, argv);
  const std::unique_ptr<Image> image = hurt_disc();
  const auto draw = [&](const std::string& file, PictureFormat format) {
    if (file.empty()) return;
    std::ofstream out(file, std::ios::binary);
    write_picture(*image, nullptr, {}, format, [&out](std::string_view piece) { out << piece; });
  };
  draw(svg, PictureFormat::kSvg);
  draw(png, PictureFormat::kPng);
  return 0;
}
