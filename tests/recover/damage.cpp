// SPDX-License-Identifier: GPL-3.0-or-later
#include "damage.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <optional>
#include <random>

#include "lacuna/disc.h"

namespace lacuna::test {
namespace {

using Random = std::mt19937;

double share(Random& random) { return static_cast<double>(random() >> 5) / (1U << 27); }

void lose_at_random(const AuthoredDisc& disc, Random& random, double part, std::vector<Range>& lost) {
  const auto n = std::max<std::uint64_t>(1, static_cast<std::uint64_t>(static_cast<double>(disc.sectors()) * part));
  for (std::uint64_t i = 0; i < n; ++i) {
    const std::uint64_t lba = random() % disc.sectors();
    lost.push_back({lba, lba + 1});
  }
}

void lose_bursts(const AuthoredDisc& disc, Random& random, std::vector<Range>& lost) {
  for (std::uint64_t n = 4 + random() % 8; n > 0; --n) {
    // Every other one near the beginning, where most structures are.
    const std::uint64_t lba = random() % (n % 2 == 0 ? std::max<std::uint64_t>(1, disc.sectors() / 8) : disc.sectors());
    lost.push_back({lba, std::min(lba + 1 + random() % 48, disc.sectors())});
  }
}

/// The spiral of a disc, recorded from its centre outwards at constant linear velocity.
struct Geometry {
  double start_mm;     ///< Radius where LBA 0 lies.
  double pitch_mm;     ///< From turn to turn.
  double sector_mm;    ///< Length of a sector along the spiral.
  std::uint64_t unit;  ///< Sectors that are lost together.
  double scratch_mm;   ///< Width of a scratch that error correction does not bridge.
};
// ECMA-130, values from memory: the program area begins at a diameter of 50 mm, the track pitch is 1.6 um, the scanning
// velocity 1.20 to 1.40 m/s, and 75 sectors are read in a second. A burst of about 2.5 mm is what its code corrects
// (common knowledge, no source).
constexpr Geometry kCd = {25.0, 0.0016, 1300.0 / 75, 1, 3.0};
// ECMA-267, values from memory: the data zone begins at a diameter of 48 mm, the track pitch is 0.74 um, a channel bit
// 0.1333 um long, a sector of 26 frames of 1488 channel bits; 16 sectors make one error correction block. It corrects a
// burst of about 6 mm (common knowledge, no source).
constexpr Geometry kDvd = {24.0, 0.00074, 26 * 1488 * 0.0001333, 16, 7.0};

/// A scratch from the inside outwards over a third of the turns, straight but not quite radial.
void scratch(const AuthoredDisc& disc, const Geometry& g, Random& random, std::vector<Range>& lost) {
  // Of an Archimedean spiral, with the length along it: r = start + pitch * turns.
  const auto angle = [&](double length) {
    const double b = g.pitch_mm / (2 * std::numbers::pi);
    return (std::sqrt(g.start_mm * g.start_mm + 2 * b * length) - g.start_mm) / b;
  };
  const double all = static_cast<double>(disc.sectors()) * g.sector_mm;
  const double turns = angle(all) / (2 * std::numbers::pi);
  const double from = share(random) * turns * 0.7, to = from + turns * 0.3;
  const double at = share(random), tilt = (share(random) - 0.5) * 0.2 / turns;  // in turns, and turns a turn
  for (std::uint64_t lba = 0; lba < disc.sectors(); ++lba) {
    const double first = angle(static_cast<double>(lba) * g.sector_mm) / (2 * std::numbers::pi);
    const double last = angle(static_cast<double>(lba + 1) * g.sector_mm) / (2 * std::numbers::pi);
    if (last < from || first > to) continue;
    const double half = g.scratch_mm / 2 / (g.start_mm + g.pitch_mm * first) / (2 * std::numbers::pi);
    const double middle = at + tilt * (first - from);
    // The scratch stands at middle + n for every whole n.
    const double next = middle + std::ceil(first - half - middle);
    if (next - half > last || share(random) < 0.2) continue;
    const std::uint64_t unit = lba / g.unit * g.unit;
    lost.push_back({unit, std::min(unit + g.unit, disc.sectors())});
  }
}

/// The dye fades from the edge inwards: the last third, ever more of it.
void rot(const AuthoredDisc& disc, Random& random, std::vector<Range>& lost) {
  const std::uint64_t from = disc.sectors() * 2 / 3;
  for (std::uint64_t lba = from; lba < disc.sectors(); ++lba) {
    const double hurt = static_cast<double>(lba - from) / static_cast<double>(disc.sectors() - from);
    if (share(random) < hurt * hurt) lost.push_back({lba, lba + 1});
  }
}

// --- Structures

RangeSet sectors_of(std::uint64_t address, std::uint64_t bytes) {
  RangeSet set;
  set.add({address / 2048, (address + bytes + 2047) / 2048});
  return set;
}

void include(StructureClasses& classes, const std::string& name, std::uint64_t address, std::uint64_t bytes) {
  RangeSet& set = classes[name];
  set = set.united(sectors_of(address, bytes));
}

std::string_view view_word(View view) {
  switch (view) {
    case View::kRockRidge:
    case View::kIso9660:
      return "primary";
    case View::kJoliet:
      return "Joliet";
    case View::kEnhanced:
      return "enhanced";
    case View::kUdf:
      return "UDF";
  }
  return "";
}

/// What the reading of the undamaged disc says; of one session, or all.
void classify_read(const AuthoredDisc& disc, const Disc& read, StructureClasses& classes) {
  for (const Structure& s : read.structures()) {
    const std::string view(view_word(s.view));
    const bool udf = s.view == View::kUdf;
    const std::string of = disc.last_session_lba == 0                   ? ""
                           : s.position / 2048 >= disc.last_session_lba ? ", last session"
                                                                        : ", first session";
    const auto add = [&](const std::string& name) {
      include(classes, name, s.position, s.bytes);
      if (!of.empty()) include(classes, name + of, s.position, s.bytes);
    };
    switch (s.kind) {
      case StructureKind::kVolumeDescriptor:
      case StructureKind::kAnchor:
      case StructureKind::kIntegrity:
        add(udf ? "UDF descriptors" : "descriptors");
        if (!udf && s.label.starts_with("primary")) add("primary descriptor");
        break;
      case StructureKind::kPathTable:
        add("path tables");
        break;
      case StructureKind::kDirectory: {
        add(view + " directories");
        add(udf ? "FIDs" : "directories");
        const bool root = s.node == kRoot;
        if (root) add(view + " root");
        if (root) add("roots");
        if (s.bytes > 2048) include(classes, "heads of long directories", s.position, 2048);
        break;
      }
      case StructureKind::kContinuationArea:
        add("continuation areas");
        break;
      case StructureKind::kFileSet:
        add("file sets");
        break;
      case StructureKind::kFileEntry:
        add("file entries");
        break;
      default:
        break;
    }
  }
}

/// What the builder says of the UDF volume that it made. A copy of the metadata partition counts as well.
void classify_built(const AuthoredDisc& disc, StructureClasses& classes) {
  std::uint32_t directory_block = 0;
  const auto is_directory = [&](const std::string& path) {
    return path.empty() || token_of(path.substr(path.rfind('/') + 1)).starts_with("d");
  };
  for (const UdfStructure& s : disc.udf_structures) {
    const auto add = [&](const std::string& name) { include(classes, name, s.address, s.bytes); };
    if (s.version != 0) {
      if (s.kind == "fe" || s.kind == "directory") add("earlier generation");
      continue;
    }
    const bool sequence = s.kind == "pvd" || s.kind == "lvd" || s.kind == "pd" || s.kind == "usd" || s.kind == "iuvd" ||
                          s.kind == "td" || s.kind == "vdp";
    if (sequence) add("UDF descriptors");
    if (sequence && s.copy == 0) add("main sequence");
    if (s.kind == "anchor") add("anchors");
    if (s.kind == "pd") add("partition descriptors");
    if (s.kind == "lvd") add("logical volume descriptors");
    if (s.kind == "fsd") add("file sets");
    if (s.kind == "vat" || s.kind == "vat icb") add("VAT");
    if (s.kind == "sparing table") add("sparing tables");
    if (s.kind == "metadata icb") add("metadata main entry");
    if (s.kind == "metadata icb" || s.kind == "metadata mirror icb") add("metadata entries");
    const bool in_tree = s.kind == "fe" || s.kind == "directory" || s.kind == "aed" || s.kind == "fsd";
    if (in_tree && s.copy == 0 && classes.contains("metadata main entry")) add("metadata main");
    if (s.kind == "fe" && is_directory(s.path)) add("directory entries");
    if (s.kind == "fe" && s.path.empty()) add("root entry");
    if (s.kind == "fe" && !is_directory(s.path)) add("file entries");
    if (s.kind == "directory") add("FIDs");
    if (s.kind == "directory" && s.path.empty()) add("UDF root");
    if (s.kind == "directory" && s.copy == 0 && directory_block++ % 2 == 0) add("every second block of FIDs");
    if (s.kind == "aed") add("allocation extents");
  }
  if (classes.contains("metadata main")) {
    classes["metadata main"] = classes["metadata main"].united(classes["metadata main entry"]);
  }
}

/// Classes that are lost together. All that a disc lacks of a list is left out; a list needs two of its classes.
const std::vector<std::pair<std::string, std::vector<std::string>>> kTogether = {
    {"descriptors and path tables", {"descriptors", "path tables"}},
    {"descriptors and roots", {"descriptors", "roots"}},
    {"descriptors, path tables and roots", {"descriptors", "path tables", "roots"}},
    {"all descriptors", {"descriptors", "UDF descriptors", "anchors"}},
    {"all descriptors and file sets", {"UDF descriptors", "anchors", "file sets"}},
    {"all descriptors, file sets and FIDs", {"descriptors", "UDF descriptors", "anchors", "file sets", "FIDs"}},
    {"all descriptors and VAT", {"UDF descriptors", "anchors", "VAT"}},
    {"all descriptors and metadata entries", {"UDF descriptors", "anchors", "metadata entries"}},
    {"FIDs and file sets", {"FIDs", "file sets"}},
    {"FIDs and directory entries", {"FIDs", "directory entries"}},
    {"UDF, all of it", {"UDF descriptors", "anchors", "file sets", "FIDs", "file entries", "directory entries"}},
    {"descriptors and directories", {"descriptors", "directories"}},
    {"primary directories and path tables", {"primary directories", "path tables"}},
    {"Joliet directories and path tables", {"Joliet directories", "path tables"}},
};

const std::vector<std::string>& plain_names() {
  static const std::vector<std::string> names = {"none",
                                                 "random 0.1 %",
                                                 "random 1 %",
                                                 "random 5 %",
                                                 "bursts",
                                                 "scratch, CD",
                                                 "scratch, DVD",
                                                 "edge rot",
                                                 "head 32 KiB",
                                                 "head 1 MB",
                                                 "cut at 30 %",
                                                 "cut at 70 %",
                                                 "late by 20",
                                                 "late by 300",
                                                 "late by 10 %",
                                                 "late by 40 %",
                                                 "late by 20, unknown",
                                                 "late by 300, unknown",
                                                 "late by 10 %, unknown",
                                                 "late by 40 %, unknown"};
  return names;
}

}  // namespace

std::string_view to_string(Showing s) {
  switch (s) {
    case Showing::kMap:
      return "map";
    case Showing::kHoles:
      return "holes";
    case Showing::kGarbage:
      return "garbage";
    case Showing::kZeros:
      return "zeros";
  }
  return "";
}

StructureClasses structure_classes(const AuthoredDisc& disc) {
  StructureClasses classes;
  if (!disc.udf_structures.empty()) classify_built(disc, classes);
  const auto image = MemoryImage(disc.bytes).open();
  DiscOptions options;
  options.scan = ScanMode::kNever;
  const auto numbers = disc.last_session_lba == 0 ? std::vector<std::uint32_t>{0} : std::vector<std::uint32_t>{1, 2};
  for (const std::uint32_t number : numbers) {
    if (number != 0) options.session = number;
    if (const auto read = open_disc(*image, options); read.ok()) {
      StructureClasses found;
      classify_read(disc, **read, found);
      for (auto& [name, set] : found) {
        // The builder knows its own volume better.
        if (disc.udf_structures.empty() ||
            (!name.starts_with("UDF") && name != "file entries" && name != "FIDs" && name != "file sets")) {
          classes[name] = classes[name].united(set);
        }
      }
    }
  }
  for (const auto& [name, parts] : kTogether) {
    RangeSet all;
    int present = 0;
    for (const std::string& part : parts) {
      const auto at = classes.find(part);
      if (at == classes.end()) continue;
      ++present;
      all = all.united(at->second);
    }
    if (present >= 2) classes[name] = all;
  }
  return classes;
}

std::vector<std::string> damage_names(const StructureClasses& classes) {
  std::vector<std::string> names = plain_names();
  for (const auto& [name, set] : classes) names.push_back("lost: " + name);
  for (const auto& [name, set] : classes) {
    if (name == "descriptors" || name == "UDF descriptors" || name == "VAT" || name == "metadata main" ||
        name == "path tables") {
      names.push_back("lost, and random 2 %: " + name);
    }
  }
  return names;
}

bool is_random(std::string_view damage) {
  return damage.starts_with("random") || damage.starts_with("bursts") || damage.starts_with("scratch") ||
         damage.starts_with("edge") || damage.starts_with("lost, and random");
}

Damage make_damage(const AuthoredDisc& disc, const StructureClasses& classes, const std::string& name,
                   std::uint32_t seed) {
  Damage d;
  d.name = name;
  d.seed = seed;
  d.end = disc.sectors();
  Random random(1000 + seed);
  std::vector<Range> lost;
  const auto starts = [&](std::string_view with) { return name.starts_with(with); };
  if (name == "random 0.1 %") lose_at_random(disc, random, 0.001, lost);
  if (name == "random 1 %") lose_at_random(disc, random, 0.01, lost);
  if (name == "random 5 %") lose_at_random(disc, random, 0.05, lost);
  if (name == "bursts") lose_bursts(disc, random, lost);
  if (name == "scratch, CD") scratch(disc, kCd, random, lost);
  if (name == "scratch, DVD") scratch(disc, kDvd, random, lost);
  if (name == "edge rot") rot(disc, random, lost);
  if (name == "head 32 KiB") lost.push_back({0, 16});
  if (name == "head 1 MB") lost.push_back({0, 512});
  if (name == "cut at 30 %") d.end = disc.sectors() * 3 / 10;
  if (name == "cut at 70 %") d.end = disc.sectors() * 7 / 10;
  if (starts("late by 20")) d.first = 20;
  if (starts("late by 300")) d.first = 300;
  if (starts("late by 10 %")) d.first = disc.sectors() / 10;
  if (starts("late by 40 %")) d.first = disc.sectors() * 4 / 10;
  d.start_known = !name.ends_with("unknown");
  if (starts("lost, and random")) lose_at_random(disc, random, 0.02, lost);
  d.lost = RangeSet::from_unsorted(std::move(lost));
  if (starts("lost")) d.lost = d.lost.united(classes.at(name.substr(name.find(": ") + 2)));
  return d;
}

std::vector<std::uint8_t> damaged_bytes(const AuthoredDisc& disc, const Damage& damage, Showing showing) {
  std::vector<std::uint8_t> bytes(disc.bytes.begin() + static_cast<std::ptrdiff_t>(damage.first * 2048),
                                  disc.bytes.begin() + static_cast<std::ptrdiff_t>(damage.end * 2048));
  Random noise(77 + damage.seed);
  for (const Range& r : damage.lost.ranges()) {
    const std::uint64_t from = std::max(r.first, damage.first), to = std::min(r.end, damage.end);
    for (std::uint64_t at = from * 2048; at < to * 2048; at += 4) {
      const std::uint32_t word = showing == Showing::kGarbage ? static_cast<std::uint32_t>(noise()) : 0;
      for (std::size_t i = 0; i < 4; ++i)
        bytes[at - damage.first * 2048 + i] = static_cast<std::uint8_t>(word >> 8 * i);
    }
  }
  return bytes;
}

MemoryImage damaged_image(std::vector<std::uint8_t> bytes, const Damage& damage, Showing showing) {
  const std::uint64_t shift = damage.start_known ? 0 : damage.first;
  MemoryImage image(std::move(bytes), damage.first - shift);
  if (showing == Showing::kMap) image.with_map();
  for (const Range& r : damage.lost.ranges()) {
    const std::uint64_t from = std::max(r.first, damage.first), to = std::min(r.end, damage.end);
    if (from >= to) continue;
    if (showing == Showing::kMap) image.mark(from - shift, to - from, SectorState::kBad);
    if (showing == Showing::kHoles) image.hole(from - shift, to - from);
  }
  return image;
}

}  // namespace lacuna::test
