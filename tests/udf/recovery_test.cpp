// SPDX-License-Identifier: GPL-3.0-or-later
// What a scan of all sectors brings back when whole classes of structures are lost. The measure: a file whose entry and
// data survive is found with its bytes; under its own path when what names it and the directories above it survives.
#include <random>
#include <set>

#include "udf_oracle.h"

namespace lacuna::test {
namespace {

using Kinds = std::set<std::string>;

const Kinds kVolumeStructures = {"anchor", "pvd", "lvd", "pd", "usd", "iuvd", "td", "vdp"};

std::string above(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  return slash == std::string::npos ? "" : path.substr(0, slash);
}

/// A volume with damage, opened with a scan.
class Patient {
 public:
  explicit Patient(UdfImage image) : image_(std::move(image)), damage_(image_) {}

  const UdfImage& image() const { return image_; }
  void lose(const UdfStructure& s) { damage_.set(s, SectorState::kBad); }
  /// Loses every structure that `lost` says.
  template <class F>
  void lose_where(F&& lost) {
    for (const UdfStructure& s : image_.structures) {
      if (lost(s)) lose(s);
    }
  }
  void lose_kinds(const Kinds& kinds) {
    lose_where([&](const UdfStructure& s) { return kinds.contains(s.kind); });
  }
  void lose_lbas(std::uint64_t first, std::uint64_t end) {
    for (std::uint64_t lba = first; lba < end; ++lba) damage_.set(lba, SectorState::kBad);
  }

  MemoryImage memory() const {
    std::mt19937 random(7);
    MemoryImage memory = memory_of(image_);
    memory.with_map();
    for (std::size_t i = 0; i < damage_.states.size(); ++i) {
      if (damage_.states[i] == SectorState::kGood) continue;
      memory.mark(damage_.first_lba + i, 1, damage_.states[i]);
      const std::size_t end = std::min(memory.bytes().size(), (i + 1) * kSectorBytes);
      for (std::size_t at = i * kSectorBytes; at < end; ++at) memory.bytes()[at] = static_cast<std::uint8_t>(random());
    }
    return memory;
  }
  UdfBox open(DiscOptions options = {}) const { return UdfBox(memory(), options); }

  bool good(const UdfStructure& s) const { return damage_.good(s.address, s.bytes); }
  /// Whether a copy of a structure, which may be in several pieces, survives.
  bool any_good(const std::string& kind, const std::string& path) const {
    for (const std::uint32_t copy : {0U, 1U}) {
      std::size_t pieces = 0, whole = 0;
      for (const UdfStructure& s : image_.all(kind, path)) {
        if (s.path != path || s.version != 0 || s.copy != copy) continue;
        ++pieces;
        whole += good(s) ? 1 : 0;
      }
      if (pieces != 0 && pieces == whole) return true;
    }
    return false;
  }
  bool data_good(const UdfFile& file) const {
    return std::ranges::all_of(file.extents,
                               [&](const UdfExtent& e) { return !e.address || damage_.good(*e.address, e.bytes); });
  }
  /// Whether all that leads to a path survives.
  bool led_to(const std::string& path) const {
    if (path.empty()) return any_good("fe", "");
    return any_good("fe", path) && any_good("fid", path) && aeds_good(above(path)) && led_to(above(path));
  }
  /// Whether the chain of a file's states (4/8.10.1) is whole, without which its newest one is out of reach.
  bool chain_good(const std::string& path) const {
    return std::ranges::all_of(image_.structures,
                               [&](const UdfStructure& s) { return s.path != path || s.kind != "ie" || good(s); });
  }
  /// Whether nothing is lost between a directory's entry and its content.
  bool aeds_good(const std::string& path) const {
    const auto aeds = image_.all("aed", path);
    return std::ranges::all_of(aeds, [&](const UdfStructure& s) { return s.path != path || good(s); });
  }

 private:
  UdfImage image_;
  UdfDamage damage_;
};

struct Tally {
  int right = 0, elsewhere = 0, missed = 0, whole = 0, doubtful = 0;
};

/// Whether the names that say what is deleted or older are lost as well, so that only its content tells it from a file.
enum class Past { kTold, kUntold };

/// Holds the tree against what survives.
Tally check(const Patient& patient, const UdfBox& box, Past past = Past::kTold) {
  Tally tally;
  const auto& files = patient.image().files;
  std::map<std::uint64_t, std::vector<NodeId>> by_size;
  for (const auto& [path, id] : box.nodes()) {
    const Node& node = box.tree().node(id);
    if (node.kind != NodeKind::kFile) continue;
    by_size[node.size].push_back(id);
    const FileState state = box.verdicts().of(id).state;
    tally.whole += state == FileState::kWhole ? 1 : 0;
    tally.doubtful += state == FileState::kDoubtful ? 1 : 0;
    if (state != FileState::kWhole) continue;
    const std::string own = path.starts_with(":") ? ":" + path : path;
    if (const auto at = files.find(own); at != files.end()) {
      EXPECT_TRUE(box.reads_as(id, at->second)) << path << " is a false whole";
      continue;
    }
    const auto is_it = [&, node = id](const auto& f) { return box.reads_as(node, f.second); };
    bool any = std::ranges::any_of(files, is_it);
    if (past == Past::kUntold) {
      any = any || std::ranges::any_of(patient.image().deleted, is_it);
      for (const auto& older : patient.image().older) any = any || std::ranges::any_of(older, is_it);
    }
    EXPECT_TRUE(any) << path << " is a false whole: it is no file of the volume";
  }
  for (const auto& [path, file] : files) {
    if (path.find(':') != std::string::npos) continue;
    if (file.type != UdfType::kFile && file.type != UdfType::kRealTimeFile) continue;
    if (!patient.any_good("fe", path) || !patient.data_good(file) || !patient.aeds_good(path)) continue;
    if (!patient.chain_good(path)) continue;
    const auto at_path = box.find(path);
    if (at_path && box.reads_as(*at_path, file)) {
      ++tally.right;
      continue;
    }
    EXPECT_FALSE(patient.led_to(path)) << path << " is not at its place";
    const auto& same = by_size[file.bytes];
    if (std::ranges::any_of(same, [&, &wanted = file](NodeId id) { return box.reads_as(id, wanted); })) {
      ++tally.elsewhere;
    } else {
      ++tally.missed;
      ADD_FAILURE() << path << " is missed";
    }
  }
  if (tally.missed != 0) ADD_FAILURE() << box.all_findings();
  return tally;
}

// ---- every variant

class UdfRecoveryTest : public UdfVariantTest {
 protected:
  Patient patient() const { return Patient(image()); }
  std::size_t regular_files() const {
    return static_cast<std::size_t>(std::ranges::count_if(image().files, [](const auto& f) {
      return f.first.find(':') == std::string::npos &&
             (f.second.type == UdfType::kFile || f.second.type == UdfType::kRealTimeFile);
    }));
  }
};

TEST_P(UdfRecoveryTest, VolumeDescriptorsLostInBothCopies) {
  Patient p = patient();
  p.lose_kinds(kVolumeStructures);
  const UdfBox box = p.open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  const Tally t = check(p, box);
  EXPECT_EQ(t.elsewhere, 0);
  EXPECT_GT(t.right, 0);
  EXPECT_EQ(box.findings("volume-rebuilt"), 1U) << box.all_findings();
}

TEST_P(UdfRecoveryTest, PartitionDescriptorLost) {
  Patient p = patient();
  p.lose_kinds({"pd"});
  const UdfBox box = p.open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  const Tally t = check(p, box);
  EXPECT_EQ(t.elsewhere, 0);
  // Sectors of several blocks take the logical volume descriptor with them.
  if (variant().options.block_bytes >= kSectorBytes) {
    EXPECT_EQ(box.findings("volume-rebuilt"), 0U) << box.all_findings();
  }
}

TEST_P(UdfRecoveryTest, FileSetLost) {
  Patient p = patient();
  p.lose_kinds({"fsd"});
  const UdfBox box = p.open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  EXPECT_EQ(check(p, box).elsewhere, 0) << box.all_findings();
}

TEST_P(UdfRecoveryTest, RootsEntryLost) {
  Patient p = patient();
  p.lose_where([](const UdfStructure& s) { return s.kind == "fe" && s.path.empty(); });
  const UdfBox box = p.open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  check(p, box);
}

TEST_P(UdfRecoveryTest, RootLost) {
  Patient p = patient();
  p.lose_where([](const UdfStructure& s) {
    return s.path.empty() && (s.kind == "fe" || s.kind == "directory" || s.kind == "parent fid");
  });
  const UdfBox box = p.open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  check(p, box, Past::kUntold);
}

TEST_P(UdfRecoveryTest, AllDirectoriesEntriesLost) {
  Patient p = patient();
  p.lose_where([&](const UdfStructure& s) {
    const auto at = p.image().files.find(s.path);
    return s.kind == "fe" && at != p.image().files.end() && at->second.type == UdfType::kDirectory;
  });
  const UdfBox box = p.open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  check(p, box);
}

TEST_P(UdfRecoveryTest, OnlyFileEntriesLeft) {
  Patient p = patient();
  p.lose_kinds({"directory", "fid", "parent fid", "fsd"});
  const UdfBox box = p.open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  check(p, box, Past::kUntold);
}

TEST_P(UdfRecoveryTest, OnlyIdentifiersLeft) {
  Patient p = patient();
  p.lose_kinds({"fe"});
  const UdfBox box = p.open();
  if (!box.ok()) {
    GTEST_SKIP() << "the sectors of the entries held the identifiers as well";
  }
  check(p, box);
  std::set<std::string> names;
  for (const auto& [path, id] : box.nodes()) names.insert(path.substr(path.rfind('/') + 1));
  std::size_t looked_for = 0;
  for (const UdfStructure& s : p.image().structures) {
    if (s.kind != "fid") continue;
    const auto file = p.image().files.find(s.path);
    if (file == p.image().files.end() || s.version != 0 || !p.good(s) || s.path.find(':') != std::string::npos)
      continue;
    if (s.bytes < 40) continue;
    // A descriptor that two blocks share can't prove itself when they don't follow each other.
    const auto parts = p.image().all("fid", s.path);
    if (std::ranges::count_if(parts, [](const UdfStructure& part) { return part.version == 0 && part.copy == 0; }) >
        1) {
      continue;
    }
    ++looked_for;
    EXPECT_TRUE(names.contains(s.path.substr(s.path.rfind('/') + 1))) << s.path << "'s name is missed";
  }
  EXPECT_TRUE(looked_for > 0 || variant().options.embedded_directories);
}

TEST_P(UdfRecoveryTest, TablesOfThePartitionsLost) {
  Patient p = patient();
  p.lose_kinds({"vat icb", "vat", "metadata icb", "metadata mirror icb", "sparing table"});
  const UdfBox box = p.open();
  ASSERT_TRUE(box.ok()) << box.error().message;
  check(p, box);
}

TEST_P(UdfRecoveryTest, AtRandom) {
  if (variant().options.block_bytes > kSectorBytes) GTEST_SKIP() << "a lost sector leaves half a block";
  std::mt19937 random(42);
  for (int trial = 0; trial < 12; ++trial) {
    SCOPED_TRACE("trial " + std::to_string(trial));
    // Where a second partition starts only names tell that lead into it.
    if (trial % 3 == 0 && variant().options.partitions > 1) continue;
    Patient p = patient();
    const std::uint64_t first = p.image().first_byte / kSectorBytes;
    const std::uint64_t sectors = p.image().bytes.size() / kSectorBytes;
    if (trial % 3 == 0) {
      p.lose_lbas(first, first + random() % (sectors / 2));
    } else {
      for (std::uint64_t i = 0; i < sectors / (trial % 3 == 1 ? 50 : 12); ++i) {
        const std::uint64_t lba = first + random() % sectors;
        p.lose_lbas(lba, lba + 1);
      }
    }
    const UdfBox box = p.open();
    if (box.ok()) check(p, box, Past::kUntold);
  }
}

LACUNA_FOR_ALL_UDF_VARIANTS(UdfRecoveryTest);

}  // namespace
}  // namespace lacuna::test
