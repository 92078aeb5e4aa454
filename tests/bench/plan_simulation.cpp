// SPDX-License-Identifier: GPL-3.0-or-later
// Simulated re-reads of a damaged disc: in the order of the plan, ascending, and at random; files whole by sectors
// spent.
//
//   plan_simulation [--discs N] [--svg FILE]
//
// The disc is authored (ISO 9660 with Joliet; photos, letters and a clip a folder), the damage follows its geometry:
// scratches that each turn of the spiral meets at one angle, and dye that fades from the rim inwards. A sector is tried
// once and read with a chance that falls towards the middle of a scratch and towards the rim; the outcome is the same
// for all orders. At each point the image with what was read until then is opened and judged anew.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <fstream>
#include <memory>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/plan.h"
#include "lacuna/verdict.h"
#include "support/iso_builder.h"

namespace {

using namespace lacuna;
using lacuna::test::iso_directory;
using lacuna::test::iso_file;
using lacuna::test::IsoNode;

constexpr int kPoints = 40;  // of a curve, besides its start
enum Order { kPlanned, kAscending, kRandom };
constexpr int kOrders = 3;
constexpr std::array<const char*, kOrders> kOrderNames{"plan", "ascending", "random"};

/// A medium's spiral, all from memory: ECMA-130 (CD, 1.3 m/s at 75 sectors a second), ECMA-267 (DVD).
struct Spiral {
  Medium medium;
  const char* name;
  double first_radius_mm, pitch_mm, sector_mm;

  double radius(double lba) const {
    return std::sqrt(first_radius_mm * first_radius_mm + lba * sector_mm * pitch_mm / std::numbers::pi);
  }
  /// Of the turn, 0 to 1.
  double angle(double lba) const {
    const double turns = (radius(lba) - first_radius_mm) / pitch_mm;
    return turns - std::floor(turns);
  }
};
constexpr Spiral kCd{Medium::kCd, "CD", 25.0, 0.0016, 17.3};
constexpr Spiral kDvd{Medium::kDvd, "DVD", 24.0, 0.00074, 5.16};

/// Bytes that all images of one disc share.
class SharedSource final : public SectorSource {
 public:
  explicit SharedSource(std::shared_ptr<const std::vector<std::uint8_t>> bytes) : bytes_(std::move(bytes)) {}
  std::uint64_t end_lba() const noexcept override { return bytes_->size() / kSectorBytes; }
  const RangeSet& holes() const noexcept override { return holes_; }
  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    std::memcpy(out.data(), bytes_->data() + lba * kSectorBytes, out.size());
    std::fill(states.begin(), states.end(), SectorState::kGood);
  }

 private:
  std::shared_ptr<const std::vector<std::uint8_t>> bytes_;
  RangeSet holes_;
};

IsoNode named_file(const std::string& name, std::size_t bytes) {
  IsoNode n = iso_file(name + ";1", std::string(bytes, 'x'));
  n.joliet_id = test::ucs2(name);
  return n;
}

std::shared_ptr<const std::vector<std::uint8_t>> author(std::mt19937& random) {
  const auto between = [&random](std::size_t a, std::size_t b) { return a + random() % (b - a); };
  IsoNode root = iso_directory("");
  for (int d = 0; d < 24; ++d) {
    IsoNode folder = iso_directory(fmt::format("EVENT{:02}", d));
    folder.joliet_id = test::ucs2(folder.id);
    const auto files = [&](char kind, int count, const char* extension, std::size_t from, std::size_t to) {
      for (int f = 0; f < count; ++f) {
        folder.children.push_back(named_file(fmt::format("{}{:04}.{}", kind, f, extension), between(from, to)));
      }
    };
    files('C', 1, "AVI", 1'000'000, 4'000'000);
    files('L', 12, "DOC", 2'000, 40'000);
    files('P', 20, "JPG", 60'000, 250'000);
    root.children.push_back(std::move(folder));
  }
  test::IsoOptions options;
  options.joliet_escape = "%/E";
  options.volume_id = "SIMULATED";
  return std::make_shared<const std::vector<std::uint8_t>>(test::build_iso(std::move(root), options).bytes);
}

/// The chance that another try reads a sector, by LBA; 2 for sectors that were read at first.
std::vector<double> damage(const Spiral& spiral, std::uint64_t sectors, std::mt19937& random) {
  std::uniform_real_distribution<double> any(0, 1);
  std::vector<double> chance(sectors, 2);
  const auto end = static_cast<double>(sectors);
  const double inner = spiral.radius(0), outer = spiral.radius(end);
  struct Scratch {
    double from, to, angle, lean, width_mm;
  };
  std::vector<Scratch> scratches;
  for (int i = 0; i < 3; ++i) {
    const double from = inner + any(random) * (outer - inner) * 0.9;
    scratches.push_back({from, from + (0.1 + 0.4 * any(random)) * (outer - inner), any(random), any(random) * 0.05,
                         0.1 + 1.5 * any(random)});
  }
  const double rim = (outer - inner) * 0.06 * (1 + any(random));
  const std::uint32_t block = block_sectors(spiral.medium);
  for (std::uint64_t first = 0; first < sectors; first += block) {
    const std::uint64_t last = std::min(sectors, first + block);
    double worst = 2;
    for (std::uint64_t lba = first; lba < last; ++lba) {
      const double r = spiral.radius(static_cast<double>(lba)), a = spiral.angle(static_cast<double>(lba));
      const double turn_mm = 2 * std::numbers::pi * r;
      for (const Scratch& s : scratches) {
        if (r < s.from || r > s.to) continue;
        double apart = std::abs(a - (s.angle + s.lean * (r - s.from)));
        apart -= std::floor(apart);
        apart = std::min(apart, 1 - apart) * turn_mm;
        // A sector is hit when the scratch crosses it anywhere.
        if (apart < (s.width_mm + spiral.sector_mm) / 2) {
          worst = std::min(worst, 0.6 + 0.39 * apart / ((s.width_mm + spiral.sector_mm) / 2));
        }
      }
      if (const double depth = (r - (outer - rim)) / rim; depth > 0 && any(random) < depth * 0.8) {
        worst = std::min(worst, 0.95 - 0.5 * depth);
      }
    }
    for (std::uint64_t lba = first; lba < last; ++lba) chance[lba] = worst;  // of a block all is lost, or nothing
  }
  return chance;
}

struct Read {
  std::shared_ptr<const std::vector<std::uint8_t>> bytes;
  std::vector<bool> good, tried;
};

struct Opened {
  std::unique_ptr<Image> image;
  std::unique_ptr<const Disc> disc;
  Verdicts verdicts;
};

/// Nothing when no file system is found.
std::unique_ptr<Opened> open(const Read& read) {
  std::vector<SectorRun> bad;
  for (std::uint64_t lba = 0; lba < read.good.size(); ++lba) {
    if (!read.good[lba]) bad.push_back({lba, 1, SectorState::kBad});
  }
  std::vector<SectorMap> maps;
  maps.push_back(SectorMap::from_runs(std::move(bad)));
  auto opened = std::make_unique<Opened>();
  opened->image = Image::from_source(std::make_unique<SharedSource>(read.bytes), std::move(maps));
  DiscOptions options;
  options.threads = 1;
  auto disc = open_disc(*opened->image, options);
  if (!disc) return nullptr;
  opened->disc = std::move(disc).value();
  opened->verdicts = *judge(*opened->disc, {false, 1, {}});
  return opened;
}

std::uint64_t whole_files(const Read& read) {
  const auto opened = open(read);
  return opened ? opened->verdicts.counts()[static_cast<std::size_t>(FileState::kWhole)].files : 0;
}

/// Blocks with sectors that are not good, in an order; the plan is made anew when its structures are read.
class Reader {
 public:
  Reader(Order order, const Spiral& spiral, Read read, std::vector<bool> readable, std::uint32_t seed)
      : order_(order), spiral_(spiral), read_(std::move(read)), readable_(std::move(readable)), random_(seed) {
    block_ = block_sectors(spiral.medium);
    for (std::uint64_t first = 0; first < read_.good.size(); first += block_) {
      const std::uint64_t last = std::min<std::uint64_t>(read_.good.size(), first + block_);
      bool all = true;
      for (std::uint64_t lba = first; lba < last; ++lba) all = all && read_.good[lba];
      if (!all) others_.push_back(first);
    }
    all_ = others_.size() * block_;
    if (order_ == kRandom) std::shuffle(others_.begin(), others_.end(), random_);
    if (order_ == kPlanned) plan();
  }
  std::uint64_t all_sectors() const { return all_; }
  const Read& now() const { return read_; }

  void read_until(std::uint64_t sectors) {
    while (spent_ < sectors && (at_ < planned_.size() || next_other_ < others_.size())) {
      if (at_ == planned_.size()) {
        try_block(others_[next_other_++]);
        continue;
      }
      try_block(planned_[at_++]);
      if (at_ == structures_) plan();
    }
  }

 private:
  void plan() {
    planned_.clear();
    at_ = structures_ = 0;
    const auto opened = open(read_);
    if (!opened) return;
    PlanOptions options;
    options.medium = spiral_.medium;
    const Result<Plan> plan = make_plan(*opened->disc, opened->verdicts, options);
    for (const PlanStep& s : plan->steps) {
      for (const Range& r : plan->ranges_of(s)) {
        for (std::uint64_t lba = r.first; lba < r.end; lba += block_) {
          if (!read_.tried[lba]) planned_.push_back(lba);
        }
      }
      if (s.is_structure()) structures_ = planned_.size();
    }
  }

  void try_block(std::uint64_t first) {
    if (read_.tried[first]) return;
    for (std::uint64_t lba = first; lba < std::min<std::uint64_t>(read_.good.size(), first + block_); ++lba) {
      read_.tried[lba] = true;
      if (readable_[lba]) read_.good[lba] = true;
    }
    spent_ += block_;
  }

  Order order_;
  const Spiral& spiral_;
  Read read_;
  std::vector<bool> readable_;
  std::mt19937 random_;
  std::vector<std::uint64_t> planned_, others_;
  std::size_t at_ = 0, structures_ = 0, next_other_ = 0;
  std::uint64_t block_ = 1, spent_ = 0, all_ = 0;
};

/// Share of the files gained in the end, by share of the sectors spent; means over discs.
struct Curves {
  std::array<std::array<double, kPoints + 1>, kOrders> share{};
  double sectors = 0, gained = 0, at_first = 0;
};

Curves simulate(const Spiral& spiral, int discs) {
  Curves curves;
  for (int d = 0; d < discs; ++d) {
    const auto seed = static_cast<std::uint32_t>(d + 1);
    std::mt19937 random(seed);
    Read read;
    read.bytes = author(random);
    const std::uint64_t sectors = read.bytes->size() / kSectorBytes;
    const std::vector<double> chance = damage(spiral, sectors, random);
    std::vector<bool> readable(sectors);
    std::uniform_real_distribution<double> any(0, 1);
    const std::uint32_t block = block_sectors(spiral.medium);
    for (std::uint64_t first = 0; first < sectors; first += block) {
      const bool can = any(random) < chance[first];
      for (std::uint64_t lba = first; lba < std::min(sectors, first + block); ++lba) readable[lba] = can;
    }
    read.tried.resize(sectors);
    for (const double c : chance) read.good.push_back(c > 1);
    const auto first = static_cast<double>(whole_files(read));
    Read last = read;
    for (std::uint64_t lba = 0; lba < sectors; ++lba) last.good[lba] = last.good[lba] || readable[lba];
    const double gained = static_cast<double>(whole_files(last)) - first;
    for (int o = 0; o < kOrders; ++o) {
      Reader reader(static_cast<Order>(o), spiral, read, readable, seed);
      if (o == 0) curves.sectors += static_cast<double>(reader.all_sectors()) / discs;
      for (int p = 1; p <= kPoints; ++p) {
        reader.read_until(reader.all_sectors() * static_cast<std::uint64_t>(p) / kPoints);
        const double now = static_cast<double>(whole_files(reader.now())) - first;
        curves.share[static_cast<std::size_t>(o)][static_cast<std::size_t>(p)] +=
            (gained == 0 ? 1 : now / gained) / discs;
      }
    }
    curves.gained += gained / discs;
    curves.at_first += first / discs;
  }
  return curves;
}

/// Sectors, as a share, after which this share of the gain is reached.
double reached(const std::array<double, kPoints + 1>& curve, double share) {
  for (std::size_t p = 1; p < curve.size(); ++p) {
    if (curve[p] + 1e-9 < share) continue;
    const double before = curve[p - 1], step = curve[p] - before;
    return (static_cast<double>(p - 1) + (step == 0 ? 1 : (share - before) / step)) / kPoints;
  }
  return 1;
}

void print(const Spiral& spiral, const Curves& c, int discs) {
  fmt::print(
      "{}: means of {} discs: {:.0f} sectors in blocks that are not good; {:.0f} files whole at first, {:.0f} more in "
      "the end\n",
      spiral.name, discs, c.sectors, c.at_first, c.gained);
  fmt::print("  {:<10} {:>14} {:>14} {:>14} {:>18}\n", "order", "half of them", "three quarters", "nine tenths",
             "after 25 % spent");
  for (std::size_t o = 0; o < kOrders; ++o) {
    const auto& s = c.share[o];
    fmt::print("  {:<10} {:>12.1f} % {:>12.1f} % {:>12.1f} % {:>16.1f} %\n", kOrderNames[o], 100 * reached(s, 0.5),
               100 * reached(s, 0.75), 100 * reached(s, 0.9), 100 * s[kPoints / 4]);
  }
}

std::string panel(const Spiral& spiral, const Curves& c, int left) {
  constexpr int kWidth = 300, kHeight = 220, kTop = 40;
  constexpr std::array<const char*, kOrders> kColours{"#1b6ca8", "#b35900", "#6b6b6b"};
  constexpr std::array<const char*, kOrders> kDashes{"none", "9 4", "2 3"};
  std::string svg =
      fmt::format("<text x=\"{}\" y=\"{}\" font-weight=\"bold\">{}</text>\n", left, kTop - 14, spiral.name);
  for (int tenth = 0; tenth <= 10; tenth += 2) {
    const int y = kTop + kHeight - kHeight * tenth / 10, x = left + kWidth * tenth / 10;
    svg += fmt::format(
        "<path d=\"M{0} {1}H{2}\" stroke=\"#ddd\"/><text x=\"{3}\" y=\"{4}\" text-anchor=\"end\">{5}</text>\n", left, y,
        left + kWidth, left - 6, y + 4, tenth * 10);
    svg +=
        fmt::format("<text x=\"{}\" y=\"{}\" text-anchor=\"middle\">{}</text>\n", x, kTop + kHeight + 16, tenth * 10);
  }
  svg += fmt::format("<text x=\"{}\" y=\"{}\" text-anchor=\"middle\">sectors spent, %</text>\n", left + kWidth / 2,
                     kTop + kHeight + 34);
  for (std::size_t o = 0; o < kOrders; ++o) {
    std::string points;
    for (std::size_t p = 0; p <= kPoints; ++p) {
      points += fmt::format("{}{:.1f},{:.1f}", p == 0 ? "" : " ", left + kWidth * static_cast<double>(p) / kPoints,
                            kTop + kHeight * (1 - c.share[o][p]));
    }
    svg += fmt::format(
        "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"2\" stroke-dasharray=\"{}\"/>\n", points,
        kColours[o], kDashes[o]);
    const int y = kTop + kHeight - 50 + 16 * static_cast<int>(o), x = left + kWidth - 110;
    svg += fmt::format(
        "<path d=\"M{} {}h30\" stroke=\"{}\" stroke-width=\"2\" stroke-dasharray=\"{}\"/><text x=\"{}\" "
        "y=\"{}\">{}</text>\n",
        x, y, kColours[o], kDashes[o], x + 36, y + 4, kOrderNames[o]);
  }
  return svg;
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("Simulated re-reads: the plan, ascending and random order");
  int discs = 8;
  std::string svg;
  app.add_option("--discs", discs, "Of each medium");
  app.add_option("--svg", svg, "Plots the curves into this file");
  CLI11_PARSE(app, argc, argv);
  std::string panels;
  int left = 60;
  for (const Spiral& spiral : {kCd, kDvd}) {
    const Curves curves = simulate(spiral, discs);
    print(spiral, curves, discs);
    panels += panel(spiral, curves, left);
    left += 380;
  }
  if (svg.empty()) return 0;
  std::ofstream out(svg);
  out << "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 780 310\" font-family=\"sans-serif\" "
         "font-size=\"11\" fill=\"#222\">\n<rect width=\"780\" height=\"310\" fill=\"#fff\"/>\n"
         "<title>Files whole by sectors spent</title>\n"
         "<text x=\"16\" y=\"150\" transform=\"rotate(-90 16 150)\" text-anchor=\"middle\">files gained, %</text>\n"
      << panels << "</svg>\n";
  return out.good() ? 0 : 1;
}
