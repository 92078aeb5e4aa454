// SPDX-License-Identifier: GPL-3.0-or-later
// What each further read of a damaged disc brings: reads by simulated drives (support/simulated_reads), put together
// one by one; the table of docs/combine. Every sector that comes out good is held against the disc.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <filesystem>

#include "lacuna/combine.h"
#include "lacuna/disc.h"
#include "lacuna/verdict.h"
#include "support/authoring.h"
#include "support/iso_builder.h"
#include "support/simulated_reads.h"
#include "support/tagged_blocks.h"

namespace lacuna::test {
namespace {

struct Sum {
  std::uint64_t sectors = 0, good = 0, suspect = 0, false_good = 0, files = 0, whole = 0;
};

std::vector<std::uint8_t> disc_of_files(std::uint32_t files) {
  std::vector<IsoNode> nodes;
  for (std::uint32_t i = 0; i < files; ++i) {
    nodes.push_back(
        iso_file(fmt::format("PHOTO{:04}.JPG;1", i), tagged_content(i, std::uint64_t{2048} * (20 + i * 37 % 200))));
  }
  return build_iso(iso_directory("", std::move(nodes))).bytes;
}

void add_result(const std::filesystem::path& out, const std::vector<std::uint8_t>& disc, Sum& sum) {
  ImageOptions options;
  options.maps = {out.string() + ".map"};
  const auto image = std::move(Image::open({out}, options)).value();
  std::vector<std::uint8_t> sector(kSectorBytes);
  for (std::uint64_t lba = 0; lba < disc.size() / kSectorBytes; ++lba) {
    SectorState state = SectorState::kAbsent;
    image->read(lba, sector, {&state, 1});
    ++sum.sectors;
    sum.good += state <= SectorState::kRepaired ? 1 : 0;
    sum.suspect += state == SectorState::kSuspect ? 1 : 0;
    const auto truth = std::span(disc).subspan(lba * kSectorBytes, kSectorBytes);
    if (state <= SectorState::kRepaired && !std::ranges::equal(sector, truth)) ++sum.false_good;
  }
  const auto opened = open_disc(*image);
  if (!opened) return;
  const Verdicts verdicts = std::move(judge(**opened)).value();
  for (const StateCount& c : verdicts.counts()) sum.files += c.files;
  sum.whole += verdicts.counts()[0].files;
}

int run(int argc, char** argv) {
  CLI::App app("Gain by the number of reads");
  std::uint64_t discs = 20, most = 6, seed = 1;
  double copes = 0.5, garbage = 0;
  app.add_option("--discs", discs, "Discs");
  app.add_option("--reads", most, "Reads of each, at most");
  app.add_option("--copes", copes, "So much of the damage a drive copes with");
  app.add_option("--garbage", garbage, "So much of what it does not cope with it gives as good");
  app.add_option("--seed", seed, "Seed");
  CLI11_PARSE(app, argc, argv);
  const std::vector<std::uint8_t> disc = disc_of_files(120);
  std::vector<Sum> sums(most);
  for (std::uint64_t d = 0; d < discs; ++d) {
    const DiscDamage damage = scratched(disc.size() / kSectorBytes, seed + d);
    std::vector<std::unique_ptr<Image>> images;
    std::vector<DiscRead> reads;
    for (std::uint64_t r = 0; r < most; ++r) {
      images.push_back(read_by({.copes = copes, .garbage = garbage}, disc, damage, (seed + d) * 1000 + r)
                           .open(fmt::format("read-{}", r)));
      reads.push_back({images.back()->name(), images.back().get(), {}, {}});
      const ScratchFolder folder;
      CombineOptions options;
      options.to = folder / "out.iso";
      if (!combine_reads(reads, options)) return 1;
      add_result(options.to, disc, sums[r]);
    }
  }
  fmt::print("| reads | sectors good | suspect | files whole | falsely good |\n|---|---|---|---|---|\n");
  for (std::uint64_t r = 0; r < most; ++r) {
    const Sum& s = sums[r];
    const auto percent = [](std::uint64_t part, std::uint64_t all) {
      return 100.0 * static_cast<double>(part) / static_cast<double>(std::max<std::uint64_t>(1, all));
    };
    fmt::print("| {} | {:.2f} % | {:.2f} % | {:.1f} % | {} |\n", r + 1, percent(s.good, s.sectors),
               percent(s.suspect, s.sectors), percent(s.whole, s.files), s.false_good);
  }
  return 0;
}

}  // namespace
}  // namespace lacuna::test

int main(int argc, char** argv) { return lacuna::test::run(argc, argv); }
