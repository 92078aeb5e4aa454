// SPDX-License-Identifier: GPL-3.0-or-later
// Damage of every kind to authored images, judged against an oracle that parses no file system: the files' blocks say
// where they lie (support/tagged_blocks.h), so what is missing of each file is arithmetic. States must be exact to the
// byte, and no file is ever called whole that is not.
#include <fcntl.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <map>
#include <random>
#include <set>

#include "base/bytes.h"
#include "lacuna/content.h"
#include "lacuna/disc.h"
#include "lacuna/verdict.h"
#include "support/authoring.h"
#include "support/iso_builder.h"
#include "support/memory_image.h"
#include "support/tagged_blocks.h"

namespace lacuna::test {
namespace {

/// An undamaged image of tagged files, by their numbers.
struct TaggedDisc {
  std::string name;
  std::vector<std::uint8_t> bytes;
  std::map<std::uint32_t, std::uint64_t> sizes;

  std::uint64_t sectors() const { return bytes.size() / kSectorBytes; }
};

std::uint64_t some_size(std::mt19937& random) {
  std::uint64_t bytes = random() % 3 == 0 ? random() % 60000 : random() % 5000;
  const std::uint64_t tail = bytes % kTaggedBlockBytes;
  if (tail != 0 && tail < kTagBytes) bytes += kTagBytes;
  return bytes;
}

/// Names that stay the same number in every view.
std::string file_name(std::uint32_t number) {
  const std::string digits = std::to_string(number);
  return "f" + std::string(5 - digits.size(), '0') + digits + ".bin";
}

std::uint32_t number_of(std::string_view path) {
  const std::string_view name = path.substr(path.rfind('/') + 1);
  return static_cast<std::uint32_t>(std::stoul(std::string(name.substr(1, 5))));
}

TaggedDisc authored(const std::string& name, const std::string& options) {
  TaggedDisc disc;
  disc.name = name;
  std::mt19937 random(7);
  const ScratchFolder tree;
  std::uint32_t number = 0;
  for (const auto& [folder, files] : std::map<std::string, int>{{"", 5}, {"one", 20}, {"one/two", 30}, {"many", 120}}) {
    for (int i = 0; i < files; ++i) {
      const std::uint64_t bytes = i == 3 ? 0 : some_size(random);
      disc.sizes[number] = bytes;
      write_file(tree.path() / folder / file_name(number), tagged_content(number, bytes));
      ++number;
    }
  }
  disc.bytes = genisoimage(tree.path(), options);
  return disc;
}

/// What no authoring tool makes: logical blocks of 512 bytes, interleaved files, multi-extent files, extended
/// attribute records.
TaggedDisc built(std::uint32_t block_bytes) {
  TaggedDisc disc;
  disc.name = "built, blocks of " + std::to_string(block_bytes);
  std::mt19937 random(block_bytes);
  std::uint32_t number = 0;
  const auto next = [&](std::uint64_t bytes) {
    disc.sizes[number] = bytes;
    IsoNode n = iso_file("F" + file_name(number).substr(1, 5) + ".BIN;1", tagged_content(number, bytes));
    ++number;
    return n;
  };
  const auto per_block = static_cast<std::uint8_t>(kTaggedBlockBytes / block_bytes);
  std::vector<IsoNode> children;
  for (int i = 0; i < 12; ++i) {
    children.push_back(next(some_size(random)));
    IsoNode inter = next(20 * kTaggedBlockBytes + 100);
    inter.unit_blocks = static_cast<std::uint8_t>(2 * per_block);
    inter.gap_blocks = inter.unit_blocks;
    const std::string id = inter.id;
    children.push_back(std::move(inter));
    IsoNode between = next(15 * kTaggedBlockBytes);
    between.unit_blocks = between.gap_blocks = static_cast<std::uint8_t>(2 * per_block);
    between.in_gaps_of = id;
    children.push_back(std::move(between));
    IsoNode many = next(9 * kTaggedBlockBytes + 700);
    many.section_bytes = {4 * kTaggedBlockBytes, 3 * kTaggedBlockBytes, 2 * kTaggedBlockBytes + 700};
    children.push_back(std::move(many));
    IsoNode attributed = next(3 * kTaggedBlockBytes + 55);
    attributed.ear_blocks = 1;
    children.push_back(std::move(attributed));
  }
  IsoOptions options;
  options.block_bytes = block_bytes;
  disc.bytes = build_iso(iso_directory("", std::move(children)), options).bytes;
  return disc;
}

const std::vector<TaggedDisc>& discs() {
  static const std::vector<TaggedDisc> all = {authored("plain", "-iso-level 1"), authored("rock, joliet", "-R -J"),
                                              built(2048), built(1024), built(512)};
  return all;
}

/// Damage done to a disc, and what it makes of each sector.
struct Damage {
  std::vector<SectorState> states;  // by LBA
  std::uint64_t end_byte = ~std::uint64_t{0};
  std::set<std::uint64_t> filled;  // overwritten without any record of it

  explicit Damage(const TaggedDisc& disc) : states(disc.sectors(), SectorState::kGood) {}
  SectorState at(std::uint64_t lba) const { return lba < states.size() ? states[lba] : SectorState::kAbsent; }
  bool hits(std::uint64_t lba) const {
    return (at(lba) != SectorState::kGood && at(lba) != SectorState::kRepaired) || filled.contains(lba) ||
           (lba + 1) * kSectorBytes > end_byte;
  }
};

struct Tally {
  int discs = 0, unopened = 0, not_listed = 0;
  std::map<FileState, int> states;
};

/// Opens the damaged disc and holds everything it says of each file against the oracle.
void check(const TaggedDisc& disc, const Damage& damage, const Image& image, Tally& tally) {
  const BlockOracle oracle(disc.bytes);
  bool structures_hit = false;
  for (std::uint64_t lba = 0; lba < disc.sectors(); ++lba) {
    structures_hit = structures_hit || (damage.hits(lba) && !oracle.is_data(lba));
  }
  ++tally.discs;
  const auto opened = open_disc(image);
  if (!opened.ok()) {
    EXPECT_TRUE(structures_hit) << opened.error().message;
    ++tally.unopened;
    return;
  }
  const Disc& d = **opened;
  JudgeOptions judge_options;
  judge_options.threads = 1;
  const auto judged = judge(d, judge_options);
  ASSERT_TRUE(judged.ok()) << judged.error().message;

  std::set<std::uint32_t> seen;
  for (const NodeId id : d.tree().in_order()) {
    const Node& node = d.tree().node(id);
    if (node.is_directory()) continue;
    const std::uint32_t number = number_of(d.tree().path(id));
    SCOPED_TRACE(disc.name + ": " + d.tree().path(id));
    ASSERT_TRUE(seen.insert(number).second) << "listed twice";
    const std::uint64_t bytes = disc.sizes.at(number);
    ASSERT_EQ(node.size, bytes);
    const Verdict& verdict = judged->of(id);
    ++tally.states[verdict.state];

    const std::vector<Gap> expected = oracle.gaps(
        number, bytes, [&](std::uint64_t lba) { return damage.at(lba); }, damage.end_byte);
    const std::vector<Gap> found = joined(judged->gaps(verdict));
    bool filled = false;
    if (damage.filled.empty()) {
      EXPECT_EQ(found, expected);
    } else {
      const auto fill = oracle.gaps(number, bytes, [&](std::uint64_t lba) {
        return damage.filled.contains(lba) ? SectorState::kSuspect : SectorState::kGood;
      });
      filled = !fill.empty();
      EXPECT_EQ(found, fill);
    }
    const FileState should_be = filled ? FileState::kDoubtful : state_from_gaps(bytes, expected);
    if (verdict.state == FileState::kWhole) {
      EXPECT_EQ(should_be, FileState::kWhole) << "a false whole";
    } else if (!structures_hit || should_be != FileState::kWhole) {
      EXPECT_EQ(verdict.state, should_be);
    } else {
      EXPECT_EQ(verdict.state, FileState::kDoubtful) << "only its place can be in doubt";
    }
    std::uint64_t missing = 0;
    for (const Gap& g : expected) missing += has_bytes(g.state) ? 0 : g.length;
    EXPECT_EQ(verdict.missing_bytes, missing);

    // The bytes themselves: those not missing are the file's, those missing are zero.
    std::string content = tagged_content(number, bytes);
    for (const Gap& g : expected) {
      if (!has_bytes(g.state)) std::fill_n(content.begin() + static_cast<std::ptrdiff_t>(g.offset), g.length, '\0');
    }
    if (filled) continue;
    FileReader reader(d, id);
    std::vector<std::uint8_t> out(bytes);
    std::vector<Gap> read_gaps;
    ASSERT_EQ(reader.read(0, out, read_gaps), bytes);
    EXPECT_TRUE(as_text(out) == content) << "other bytes than the file's";
    EXPECT_EQ(joined(read_gaps), expected);
  }
  for (const auto& [number, bytes] : disc.sizes) {
    if (seen.contains(number)) continue;
    ++tally.not_listed;
    EXPECT_TRUE(structures_hit) << "file " << number << " is not listed, and no structure was hit";
    EXPECT_TRUE(!d.lost_directories().empty() || !d.findings().empty()) << "names were lost without a word";
  }
}

/// Some sectors, single or in runs.
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

/// What stands in a damaged sector must not matter: rubbish that could pass for data.
void spoil(std::vector<std::uint8_t>& bytes, std::mt19937& random, Range lbas) {
  for (std::uint64_t at = lbas.first * kSectorBytes; at < lbas.end * kSectorBytes; ++at) {
    bytes[at] = static_cast<std::uint8_t>(random());
  }
}

TEST(Damage, TheOracleSeesEveryBlockOnce) {
  for (const TaggedDisc& disc : discs()) {
    SCOPED_TRACE(disc.name);
    const BlockOracle oracle(disc.bytes);
    for (const auto& [number, bytes] : disc.sizes) EXPECT_TRUE(oracle.complete(number, bytes)) << number;
  }
}

TEST(Damage, UndamagedIsWholeWithAndWithoutAMap) {
  for (const TaggedDisc& disc : discs()) {
    Tally tally;
    check(disc, Damage(disc), *MemoryImage(disc.bytes).open(), tally);
    check(disc, Damage(disc), *MemoryImage(disc.bytes).with_map().open(), tally);
    EXPECT_EQ(tally.states[FileState::kWhole], 2 * static_cast<int>(disc.sizes.size())) << disc.name;
  }
}

TEST(Damage, EachStateInAMap) {
  for (const TaggedDisc& disc : discs()) {
    for (int s = 0; s < kSectorStateCount; ++s) {
      const auto state = static_cast<SectorState>(s);
      Tally tally;
      for (unsigned trial = 0; trial < 12; ++trial) {
        SCOPED_TRACE(disc.name + ", " + std::string(to_string(state)) + ", trial " + std::to_string(trial));
        std::mt19937 random(trial * 100 + static_cast<unsigned>(s));
        Damage damage(disc);
        MemoryImage image(disc.bytes);
        image.with_map();
        for (const Range r : some_ranges(random, disc.sectors(), trial % 2 == 1)) {
          image.mark(r.first, r.length(), state);
          for (std::uint64_t lba = r.first; lba < r.end; ++lba) damage.states[lba] = state;
          if (!has_bytes(state)) spoil(image.bytes(), random, r);
        }
        check(disc, damage, *image.open(), tally);
      }
      EXPECT_LT(tally.unopened, tally.discs) << disc.name;
    }
  }
}

TEST(Damage, AllStatesMixedInAMap) {
  for (const TaggedDisc& disc : discs()) {
    Tally tally;
    for (unsigned trial = 0; trial < 20; ++trial) {
      SCOPED_TRACE(disc.name + ", trial " + std::to_string(trial));
      std::mt19937 random(1000 + trial);
      Damage damage(disc);
      MemoryImage image(disc.bytes);
      for (const Range r : some_ranges(random, disc.sectors(), false)) {
        // Structures stay readable here, so that the data's states are what the trial is about.
        if (r.first < 16 + disc.sectors() / 20 || damage.hits(r.first)) continue;
        const auto state = static_cast<SectorState>(random() % kSectorStateCount);
        image.mark(r.first, r.length(), state);
        for (std::uint64_t lba = r.first; lba < r.end; ++lba) damage.states[lba] = state;
        if (!has_bytes(state)) spoil(image.bytes(), random, r);
      }
      image.mark(disc.sectors(), 1, SectorState::kBad);  // a map may speak of sectors that the image has not
      check(disc, damage, *image.open(), tally);
    }
    EXPECT_GT(tally.states[FileState::kWhole], 0) << disc.name;
    EXPECT_GT(tally.states[FileState::kDamaged] + tally.states[FileState::kLost], 0) << disc.name;
  }
}

TEST(Damage, ReadErrorsThatNoMapForetold) {
  for (const TaggedDisc& disc : discs()) {
    Tally tally;
    for (unsigned trial = 0; trial < 20; ++trial) {
      SCOPED_TRACE(disc.name + ", trial " + std::to_string(trial));
      std::mt19937 random(2000 + trial);
      Damage damage(disc);
      MemoryImage image(disc.bytes);
      for (const Range r : some_ranges(random, disc.sectors(), trial % 2 == 1)) {
        image.fail(r.first, r.length());
        for (std::uint64_t lba = r.first; lba < r.end; ++lba) damage.states[lba] = SectorState::kBad;
      }
      check(disc, damage, *image.open(), tally);
    }
    EXPECT_LT(tally.unopened, tally.discs) << disc.name;
  }
}

TEST(Damage, CutShortAtAnyByte) {
  for (const TaggedDisc& disc : discs()) {
    Tally tally;
    for (unsigned trial = 0; trial < 24; ++trial) {
      SCOPED_TRACE(disc.name + ", trial " + std::to_string(trial));
      std::mt19937 random(3000 + trial);
      Damage damage(disc);
      damage.end_byte = 20 * kSectorBytes + random() % (disc.bytes.size() - 20 * kSectorBytes);
      if (trial % 3 == 0) damage.end_byte -= damage.end_byte % kSectorBytes;
      MemoryImage image(disc.bytes);
      image.bytes().resize(damage.end_byte);
      if (trial % 2 == 1) image.with_map();
      check(disc, damage, *image.open(), tally);
    }
    EXPECT_GT(tally.states[FileState::kLost] + tally.states[FileState::kDamaged], 0) << disc.name;
  }
}

/// A disc of two sessions, so that its end alone still tells of the first one's files.
TEST(Damage, LateStart) {
  TaggedDisc disc{"two sessions", {}, {}};
  const ScratchFolder work;
  std::mt19937 random(4);
  for (std::uint32_t number = 0; number < 60; ++number) {
    disc.sizes[number] = some_size(random);
    const std::string content = tagged_content(number, disc.sizes[number]);
    if (number < 40) write_file(work.path() / "first" / file_name(number), content);
    if (number >= 40) write_file(work.path() / "second" / file_name(number), content);
  }
  ASSERT_TRUE(run_command(work.path(), "genisoimage -quiet -R -o one.iso first"));
  const std::uint64_t start = (std::filesystem::file_size(work / "one.iso") / kSectorBytes + 15) / 16 * 16;
  ASSERT_TRUE(run_command(work.path(), "genisoimage -quiet -R -C 0," + std::to_string(start) +
                                           " -M one.iso -o two.iso second && truncate -s " +
                                           std::to_string(start * kSectorBytes) + " one.iso && cat two.iso >>one.iso"));
  disc.bytes = read_file(work / "one.iso");
  Tally tally;
  for (unsigned trial = 0; trial < 24; ++trial) {
    SCOPED_TRACE("trial " + std::to_string(trial));
    const std::uint64_t first = random() % (trial < 4 ? 16 : start);
    Damage damage(disc);
    std::fill_n(damage.states.begin(), first, SectorState::kAbsent);
    MemoryImage image({disc.bytes.begin() + static_cast<std::ptrdiff_t>(first * kSectorBytes), disc.bytes.end()},
                      first);
    if (trial % 2 == 1) image.with_map();
    check(disc, damage, *image.open(), tally);
  }
  EXPECT_EQ(tally.unopened, 0);
  EXPECT_GT(tally.states[FileState::kLost] + tally.states[FileState::kDamaged], 0);
}

TEST(Damage, FillThatNobodyMapped) {
  const std::vector<std::string> fills = {std::string(1, '\0'), "\xff", "Z", "BAD!",
                                          "\xde\xad\xbe\xef\x01\x02\x03\x04"};
  for (const TaggedDisc& disc : discs()) {
    Tally tally;
    for (unsigned trial = 0; trial < 25; ++trial) {
      SCOPED_TRACE(disc.name + ", trial " + std::to_string(trial));
      std::mt19937 random(5000 + trial);
      const std::string& fill = fills[trial % fills.size()];
      Damage damage(disc);
      MemoryImage image(disc.bytes);
      for (const Range r : some_ranges(random, disc.sectors(), trial % 3 == 2)) {
        for (std::uint64_t lba = r.first; lba < r.end; ++lba) {
          damage.filled.insert(lba);
          for (std::size_t i = 0; i < kSectorBytes; ++i) {
            image.bytes()[lba * kSectorBytes + i] = static_cast<std::uint8_t>(fill[i % fill.size()]);
          }
        }
      }
      check(disc, damage, *image.open(), tally);
    }
    EXPECT_GT(tally.states[FileState::kWhole], 0) << disc.name;
    EXPECT_GT(tally.states[FileState::kDoubtful], 0) << disc.name;
  }
}

TEST(Damage, HolesOfASparseFile) {
  const TaggedDisc& disc = discs()[1];
  const ScratchFolder work;
  constexpr std::uint64_t kHoleBytes = 4096;  // the least that file systems leave out
  Tally tally;
  for (unsigned trial = 0; trial < 8; ++trial) {
    SCOPED_TRACE("trial " + std::to_string(trial));
    std::mt19937 random(6000 + trial);
    Damage damage(disc);
    const std::filesystem::path file = work / ("sparse" + std::to_string(trial));
    const int fd = open(file.c_str(), O_CREAT | O_WRONLY | O_CLOEXEC, 0600);
    ASSERT_GE(fd, 0);
    ASSERT_EQ(ftruncate(fd, static_cast<off_t>(disc.bytes.size())), 0);
    bool holes = false;
    for (std::uint64_t at = 0; at < disc.bytes.size(); at += kHoleBytes) {
      const std::uint64_t bytes = std::min<std::uint64_t>(kHoleBytes, disc.bytes.size() - at);
      if (at > disc.bytes.size() / 10 && bytes == kHoleBytes && random() % 20 == 0) {
        std::fill_n(damage.states.begin() + static_cast<std::ptrdiff_t>(at / kSectorBytes), 2, SectorState::kUnread);
        holes = true;
      } else {
        ASSERT_EQ(pwrite(fd, disc.bytes.data() + at, bytes, static_cast<off_t>(at)), static_cast<ssize_t>(bytes));
      }
    }
    ASSERT_TRUE(holes);
    const off_t first_hole = lseek(fd, 0, SEEK_HOLE);
    close(fd);
    if (first_hole >= static_cast<off_t>(disc.bytes.size())) {
      GTEST_SKIP() << "the file system of " << work.path() << " keeps no holes of 4096 bytes";
    }
    auto image = Image::open({file});
    ASSERT_TRUE(image.ok()) << image.error().message;
    check(disc, damage, **image, tally);
  }
  EXPECT_GT(tally.states[FileState::kDamaged], 0);
}

}  // namespace
}  // namespace lacuna::test
