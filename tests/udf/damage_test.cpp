// SPDX-License-Identifier: GPL-3.0-or-later
// Every structure of every variant lost in turn, as bad sectors in a map, by a wrong CRC, as zeros that no map tells
// of; and damage at random. What must survive does to the byte, and nothing is called whole that is not: see UdfOracle.
#include <random>
#include <set>

#include "udf_oracle.h"

namespace lacuna::test {
namespace {

using Bytes = std::vector<std::uint8_t>;

void fill(Bytes& bytes, const UdfDamage& damage, const std::function<std::uint8_t()>& next) {
  for (std::size_t lba = 0; lba < damage.states.size(); ++lba) {
    if (damage.states[lba] == SectorState::kGood) continue;
    const std::size_t end = std::min<std::size_t>(bytes.size(), (lba + 1) * kSectorBytes);
    for (std::size_t at = lba * kSectorBytes; at < end; ++at) bytes[at] = next();
  }
}

/// The damage as an image that a map tells of; what stands in the bad sectors must not matter.
MemoryImage mapped(const UdfImage& image, const UdfDamage& damage, std::mt19937& random) {
  MemoryImage memory = memory_of(image);
  memory.with_map();
  for (std::size_t lba = 0; lba < damage.states.size(); ++lba) {
    if (damage.states[lba] != SectorState::kGood) memory.mark(damage.first_lba + lba, 1, damage.states[lba]);
  }
  fill(memory.bytes(), damage, [&] { return static_cast<std::uint8_t>(random()); });
  return memory;
}

const DiscOptions& with_streams() {
  static const DiscOptions options = [] {
    DiscOptions o = without_scan();
    o.streams = true;
    return o;
  }();
  return options;
}

class UdfDamageTest : public UdfVariantTest {
 protected:
  UdfOracle oracle() const { return UdfOracle(variant(), image()); }

  /// One structure for each place; of directories with many files every so many.
  std::vector<UdfStructure> structures() const {
    std::vector<UdfStructure> chosen;
    std::set<std::uint64_t> places;
    std::map<std::string, int> seen;
    for (const UdfStructure& s : image().structures) {
      if (!places.insert(s.address).second && s.kind != "directory") continue;
      const std::string folder = s.path.substr(0, s.path.find('/'));
      if ((folder == "many" || folder == "scattered") && seen[s.kind + folder]++ % 41 != 0) continue;
      chosen.push_back(s);
    }
    return chosen;
  }
};

TEST_P(UdfDamageTest, EachStructureInBadSectors) {
  const UdfOracle o = oracle();
  std::mt19937 random(1);
  UdfTally tally;
  for (const UdfStructure& s : structures()) {
    SCOPED_TRACE(s.kind + " of '" + s.path + "', copy " + std::to_string(s.copy) + ", version " +
                 std::to_string(s.version));
    UdfDamage damage(image());
    damage.set(s, SectorState::kBad);
    o.check(damage, UdfBox(mapped(image(), damage, random), with_streams()), tally);
  }
  EXPECT_EQ(tally.unopened, 0);
  EXPECT_GT(tally.states[FileState::kWhole], 0);
}

TEST_P(UdfDamageTest, EachStructureWithAWrongCrc) {
  const UdfOracle o = oracle();
  UdfTally tally;
  for (const UdfStructure& s : structures()) {
    static const std::set<std::string> kWithoutTag = {"directory", "vat", "bea", "nsr", "tea"};
    if (kWithoutTag.contains(s.kind)) continue;
    UdfImage changed = image();
    const auto bytes = changed.at(s.address);
    const std::size_t crc_length = bytes[10] + 256U * bytes[11];
    if (s.bytes <= 16 + crc_length / 2) continue;  // broken over two blocks, or the second part
    const bool with_map = tally.discs % 2 == 0;
    SCOPED_TRACE(s.kind + " of '" + s.path + "', copy " + std::to_string(s.copy) + ", version " +
                 std::to_string(s.version) + (with_map ? ", with a map" : ""));
    udf_damage(bytes);
    UdfDamage damage(image());
    damage.broken = &s;
    damage.mapped = with_map;
    MemoryImage memory = memory_of(changed);
    if (with_map) memory.with_map();
    o.check(damage, UdfBox(memory, with_streams()), tally);
  }
  EXPECT_EQ(tally.unopened, 0);
  EXPECT_GT(tally.states[FileState::kWhole], 0);
}

TEST_P(UdfDamageTest, EachStructureZeroedWithoutAMap) {
  const UdfOracle o = oracle();
  UdfTally tally;
  for (const UdfStructure& s : structures()) {
    SCOPED_TRACE(s.kind + " of '" + s.path + "', copy " + std::to_string(s.copy) + ", version " +
                 std::to_string(s.version));
    UdfDamage damage(image());
    damage.mapped = false;
    damage.set(s, SectorState::kSuspect);
    MemoryImage memory = memory_of(image());
    fill(memory.bytes(), damage, [] { return std::uint8_t{0}; });
    o.check(damage, UdfBox(memory, with_streams()), tally);
  }
  EXPECT_EQ(tally.unopened, 0);
  EXPECT_GT(tally.states[FileState::kWhole], 0);
}

class UdfSingleLossTest : public UdfDamageTest {};

/// Without the oracle, where blocks are sectors: what is not whole any more is what the structure's path says.
TEST_P(UdfSingleLossTest, OneStructureCostsItsOwnFilesOnly) {
  static const std::set<std::string> kCostNothing = {"anchor",
                                                     "bea",
                                                     "nsr",
                                                     "tea",
                                                     "pvd",
                                                     "lvd",
                                                     "pd",
                                                     "usd",
                                                     "iuvd",
                                                     "td",
                                                     "vdp",
                                                     "lvid",
                                                     "metadata icb",
                                                     "metadata mirror icb",
                                                     "metadata bitmap icb",
                                                     "metadata bitmap",
                                                     "space bitmap",
                                                     "space table",
                                                     "ea icb"};
  std::mt19937 random(2);
  const UdfOracle o = oracle();
  const UdfBox intact(memory_of(image()).with_map());
  ASSERT_TRUE(intact.ok());
  for (const UdfStructure& s : structures()) {
    const bool costs_nothing = kCostNothing.contains(s.kind);
    if (s.version != 0 || (s.kind != "fe" && !kCostNothing.contains(s.kind))) continue;
    if (s.path.empty() && s.kind == "fe") continue;
    SCOPED_TRACE(s.kind + " of '" + s.path + "', copy " + std::to_string(s.copy));
    UdfDamage damage(image());
    damage.set(s, SectorState::kBad);
    const UdfBox box(mapped(image(), damage, random));
    ASSERT_TRUE(box.ok()) << box.error().message;
    const auto copies = image().all(s.kind, s.path);
    const bool twin = std::ranges::any_of(copies, [&](const UdfStructure& t) { return t.copy == 1; });
    for (const auto& [path, id] : intact.nodes()) {
      const bool own =
          path == s.path || path.starts_with(s.path + "/") || path.starts_with(s.path + ":") || o.owner(path) == s.path;
      const auto found = box.find(path);
      const bool whole = found && box.verdicts().of(*found).state == FileState::kWhole &&
                         !box.tree().node(*found).has(node_flag::kUnread);
      const bool kept = costs_nothing || !own || (twin && s.kind == "fe");
      EXPECT_EQ(whole, kept) << path;
    }
  }
}

// ---- at random

std::vector<Range> some_ranges(std::mt19937& random, std::uint64_t sectors, bool bursts) {
  std::vector<Range> ranges;
  const std::size_t count = 1 + random() % (bursts ? 3 : 40);
  for (std::size_t i = 0; i < count; ++i) {
    const std::uint64_t first = random() % sectors;
    const std::uint64_t length = bursts ? 1 + random() % (sectors / 4) : 1;
    ranges.push_back({first, std::min(sectors, first + length)});
  }
  return ranges;
}

void take(UdfDamage& damage, const std::vector<Range>& ranges, SectorState state) {
  for (const Range& r : ranges) {
    for (std::uint64_t i = r.first; i < r.end; ++i) damage.states[i] = state;
  }
}

TEST_P(UdfDamageTest, AtRandomWithAMap) {
  const UdfOracle o = oracle();
  UdfTally tally;
  for (unsigned trial = 0; trial < 80; ++trial) {
    SCOPED_TRACE("trial " + std::to_string(trial));
    std::mt19937 random(trial);
    UdfDamage damage(image());
    const bool bursts = trial % 2 == 1;
    constexpr SectorState kStates[] = {SectorState::kBad, SectorState::kUnread, SectorState::kAbsent};
    take(damage, some_ranges(random, damage.states.size(), bursts), kStates[trial % 3]);
    o.check(damage, UdfBox(mapped(image(), damage, random), with_streams()), tally);
  }
  EXPECT_LT(tally.unopened, tally.discs / 4);
  EXPECT_GT(tally.states[FileState::kWhole], 0);
  EXPECT_GT(tally.states[FileState::kDamaged] + tally.states[FileState::kLost], 0);
}

TEST_P(UdfDamageTest, ReadErrorsThatNoMapForetold) {
  const UdfOracle o = oracle();
  UdfTally tally;
  for (unsigned trial = 0; trial < 30; ++trial) {
    SCOPED_TRACE("trial " + std::to_string(trial));
    std::mt19937 random(1000 + trial);
    UdfDamage damage(image());
    MemoryImage memory = memory_of(image());
    memory.with_map();
    const auto ranges = some_ranges(random, damage.states.size(), trial % 2 == 1);
    take(damage, ranges, SectorState::kBad);
    for (const Range& r : ranges) memory.fail(damage.first_lba + r.first, r.length());
    o.check(damage, UdfBox(memory, with_streams()), tally);
  }
  EXPECT_LT(tally.unopened, tally.discs / 4);
}

TEST_P(UdfDamageTest, CutShort) {
  const UdfOracle o = oracle();
  UdfTally tally;
  for (unsigned trial = 0; trial < 40; ++trial) {
    std::mt19937 random(2000 + trial);
    UdfDamage damage(image());
    MemoryImage memory = memory_of(image());
    const std::uint64_t left = 1 + random() % damage.states.size();
    SCOPED_TRACE("trial " + std::to_string(trial) + ", " + std::to_string(left) + " sectors left");
    take(damage, {{left, damage.states.size()}}, SectorState::kAbsent);
    memory.bytes().resize(std::min<std::size_t>(memory.bytes().size(), left * kSectorBytes));
    memory.with_map();
    o.check(damage, UdfBox(memory, with_streams()), tally);
  }
  // A volume whose only table was at its end is without it.
  const bool table_gone = variant().options.vat && variant().options.older_generations.empty();
  EXPECT_TRUE(table_gone || tally.states[FileState::kWhole] + tally.states[FileState::kLost] > 0);
}

TEST_P(UdfDamageTest, LateStart) {
  const UdfOracle o = oracle();
  UdfTally tally;
  for (unsigned trial = 0; trial < 20; ++trial) {
    std::mt19937 random(3000 + trial);
    UdfDamage damage(image());
    const std::uint64_t gone = random() % (trial % 2 == 0 ? 64 : damage.states.size());
    SCOPED_TRACE("trial " + std::to_string(trial) + ", starts " + std::to_string(gone) + " sectors late");
    take(damage, {{0, gone}}, SectorState::kAbsent);
    MemoryImage memory({image().bytes.begin() + static_cast<std::ptrdiff_t>(gone * kSectorBytes), image().bytes.end()},
                       damage.first_lba + gone);
    memory.with_map();
    o.check(damage, UdfBox(memory, with_streams()), tally);
  }
}

TEST_P(UdfDamageTest, ZerosThatNobodyMapped) {
  const UdfOracle o = oracle();
  UdfTally tally;
  for (unsigned trial = 0; trial < 60; ++trial) {
    SCOPED_TRACE("trial " + std::to_string(trial));
    std::mt19937 random(4000 + trial);
    UdfDamage damage(image());
    damage.mapped = false;
    take(damage, some_ranges(random, damage.states.size(), trial % 2 == 1), SectorState::kSuspect);
    MemoryImage memory = memory_of(image());
    fill(memory.bytes(), damage, [] { return std::uint8_t{0}; });
    o.check(damage, UdfBox(memory, with_streams()), tally);
  }
  EXPECT_GT(tally.states[FileState::kWhole], 0);
  EXPECT_GT(tally.states[FileState::kDoubtful], 0);
}

/// Structures overwritten with noise: what data it falls on can't be told, so only names and promises are checked.
TEST_P(UdfDamageTest, NoiseThatNobodyMapped) {
  const UdfOracle o = oracle();
  UdfTally tally;
  for (unsigned trial = 0; trial < 40; ++trial) {
    SCOPED_TRACE("trial " + std::to_string(trial));
    std::mt19937 random(5000 + trial);
    UdfDamage damage(image());
    damage.mapped = false;
    damage.data_unknown = true;
    take(damage, some_ranges(random, damage.states.size(), trial % 2 == 1), SectorState::kSuspect);
    MemoryImage memory = memory_of(image());
    fill(memory.bytes(), damage, [&] { return static_cast<std::uint8_t>(random()); });
    o.check(damage, UdfBox(memory, with_streams()), tally);
  }
}

LACUNA_FOR_ALL_UDF_VARIANTS(UdfDamageTest);
LACUNA_FOR_UDF_VARIANTS(UdfSingleLossTest, [](const UdfVariant& v) { return v.options.block_bytes == kSectorBytes; });

}  // namespace
}  // namespace lacuna::test
