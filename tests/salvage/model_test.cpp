// SPDX-License-Identifier: GPL-3.0-or-later
// Random small discs against a model that knows no runs, pieces or sorting: it asks of every single byte of every file
// where it lies and what is known of that sector.
#include <gtest/gtest.h>

#include <map>
#include <random>
#include <set>

#include "lacuna/content.h"
#include "lacuna/hits.h"
#include "lacuna/verdict.h"
#include "salvage/hand_disc.h"
#include "support/memory_image.h"

namespace lacuna {
namespace {

using test::HandDisc;
using test::MemoryImage;
using test::numbered;
using test::numbered_sectors;

// Of a byte: it has no place, it was never recorded and is zero.
constexpr std::uint64_t kNoPlace = ~std::uint64_t{0} - 7;
constexpr std::uint64_t kZeroByte = kNoPlace - 1;

struct ModelFile {
  std::string name;
  std::uint64_t size = 0;
  std::vector<Extent> extents;
  std::uint16_t flags = 0;
  std::vector<std::uint64_t> positions;  // of each byte
};

class Model {
 public:
  explicit Model(unsigned seed, bool with_map) : random_(seed) {
    first_lba_ = pick(0, 2) == 0 ? pick(1, 8) : 0;
    const std::uint64_t sectors = pick(20, 60);
    bytes_ = numbered_sectors(sectors, first_lba_);
    for (std::uint64_t i = 0; i < sectors; ++i) {
      if (pick(0, 6) == 0) std::fill_n(bytes_.begin() + static_cast<std::ptrdiff_t>(i * kSectorBytes), kSectorBytes, 0);
    }
    if (pick(0, 1) == 0) bytes_.resize(bytes_.size() - pick(1, kSectorBytes - 1));
    MemoryImage memory(bytes_, first_lba_);
    if (with_map) memory.with_map();
    for (std::uint64_t n = pick(0, 12); n-- > 0;) {
      const std::uint64_t lba = first_lba_ + pick(0, sectors - 1);
      const std::uint64_t count = std::min(pick(1, 3), first_lba_ + sectors - lba);
      if (with_map) {
        memory.mark(lba, count, static_cast<SectorState>(pick(0, kSectorStateCount - 1)));
      } else if (pick(0, 1) == 0) {
        memory.fail(lba, count);
      } else {
        memory.hole(lba, count);
      }
    }
    image_ = memory.open();
    hand_ = std::make_unique<HandDisc>(*image_);
    for (std::uint64_t n = pick(1, 12); n-- > 0;) add_file(sectors);
    for (std::uint64_t n = pick(0, 3); n-- > 0;) {
      const std::uint64_t lba = pick(0, first_lba_ + sectors + 2);
      const std::uint64_t bytes = pick(1, 5000);
      hand_->structure(StructureKind::kDirectory, lba, bytes);
      structures_.push_back({lba * kSectorBytes, lba * kSectorBytes + bytes});
    }
    hand_->finish();
  }

  std::uint64_t pick(std::uint64_t low, std::uint64_t high) {
    return std::uniform_int_distribution<std::uint64_t>(low, high)(random_);
  }

  SectorState state_of(std::uint64_t position, const SectorMap& states) const {
    if (position == kZeroByte) return SectorState::kGood;
    if (position == kNoPlace || position < first_lba_ * kSectorBytes ||
        position >= first_lba_ * kSectorBytes + bytes_.size()) {
      return SectorState::kAbsent;
    }
    return states.at(position / kSectorBytes);
  }
  std::uint8_t byte_at(std::uint64_t position) const {
    if (position == kZeroByte) return 0;
    return bytes_[static_cast<std::size_t>(position - first_lba_ * kSectorBytes)];
  }

  std::vector<Gap> gaps(const ModelFile& f, const SectorMap& states, std::uint64_t from, std::uint64_t to) const {
    std::vector<Gap> gaps;
    for (std::uint64_t i = from; i < to; ++i) {
      const SectorState s = state_of(f.positions[i], states);
      if (s <= SectorState::kRepaired) continue;
      if (!gaps.empty() && gaps.back().state == s && gaps.back().offset + gaps.back().length == i) {
        ++gaps.back().length;
      } else {
        gaps.push_back({i, 1, s});
      }
    }
    return gaps;
  }

  /// Whether two bytes of files, or a file's and a structure's, are the same byte and the files not the same.
  bool contradicted(const ModelFile& f) const {
    if ((f.flags & node_flag::kBoot) != 0) return false;
    std::set<std::uint64_t> own;
    for (const std::uint64_t p : f.positions) {
      if (p == kZeroByte || state_of(p, SectorMap()) == SectorState::kAbsent) continue;
      if (!own.insert(p).second) return true;
      for (const Range& s : structures_) {
        if (p >= s.first && p < s.end) return true;
      }
    }
    for (const ModelFile& other : files_) {
      if (&other == &f || (other.flags & node_flag::kBoot) != 0 || other.positions == f.positions) continue;
      for (const std::uint64_t p : other.positions) {
        if (own.contains(p)) return true;
      }
    }
    return false;
  }

  const Image& image() const { return *image_; }
  const Disc& disc() const { return hand_->disc(); }
  const std::vector<ModelFile>& files() const { return files_; }
  NodeId id(const ModelFile& f) const { return hand_->id(f.name); }

 private:
  void add_file(std::uint64_t sectors) {
    ModelFile f;
    f.name = numbered("f", files_.size());
    if (!files_.empty() && pick(0, 5) == 0) {  // another name for the same bytes
      f.extents = files_.back().extents;
      f.size = files_.back().size;
    } else {
      std::uint64_t sum = 0;
      for (std::uint64_t n = pick(1, 3); n-- > 0;) {
        Extent e{pick(0, (first_lba_ + sectors + 4) * 4) * 512, pick(0, 3) == 0 ? 0 : pick(1, 9000), 0, 0};
        if (pick(0, 2) == 0) {
          e.unit_bytes = static_cast<std::uint32_t>(512 * pick(1, 5));
          e.gap_bytes = static_cast<std::uint32_t>(512 * pick(1, 5));
        }
        if (pick(0, 5) == 0) e = {pick(0, 1) == 0 ? kZeros : kNowhere, e.bytes, 0, 0};
        f.extents.push_back(e);
        sum += e.bytes;
      }
      f.size = pick(0, 5) == 0 ? sum + pick(1, 3000) : sum;
    }
    if (pick(0, 9) == 0) f.flags = node_flag::kBoot;
    for (const Extent& e : f.extents) {
      if (!e.has_place()) {
        f.positions.insert(f.positions.end(), e.bytes, e.position == kZeros ? kZeroByte : kNoPlace);
      }
      for_each_piece(e, [&](std::uint64_t position, std::uint64_t bytes) {
        for (std::uint64_t i = 0; i < bytes; ++i) f.positions.push_back(position + i);
        return true;
      });
    }
    f.positions.resize(f.size, kNoPlace);
    hand_->file(f.name, f.size, f.extents, f.flags);
    files_.push_back(std::move(f));
  }

  std::mt19937 random_;
  std::uint64_t first_lba_ = 0;
  std::vector<std::uint8_t> bytes_;
  std::unique_ptr<Image> image_;
  std::unique_ptr<HandDisc> hand_;
  std::vector<ModelFile> files_;
  std::vector<Range> structures_;
};

/// Uniform sectors that hold a file's bytes, found by comparing each byte with the one before it.
void expect_looked_inside(const Model& m, const SectorMap& states) {
  for (std::uint64_t lba = m.image().first_lba(); lba < m.image().end_lba(); ++lba) {
    bool in_file = false;
    for (const ModelFile& f : m.files()) {
      for (const std::uint64_t p : f.positions) {
        in_file |= p / kSectorBytes == lba && m.state_of(p, SectorMap()) != SectorState::kAbsent;
      }
    }
    const bool complete = (lba + 1) * kSectorBytes <= m.image().end_byte();
    bool zeros = true;
    for (std::uint64_t p = lba * kSectorBytes; p < (lba + 1) * kSectorBytes && p < m.image().end_byte(); ++p) {
      zeros &= m.byte_at(p) == 0;
    }
    if (has_bytes(states.at(lba)) && complete) {
      EXPECT_EQ(states.at(lba) == SectorState::kSuspect, in_file && zeros) << "LBA " << lba;
    }
  }
}

void expect_verdicts(const Model& m, const Verdicts& v) {
  for (const ModelFile& f : m.files()) {
    const NodeId id = m.id(f);
    const Verdict& verdict = v.of(id);
    const std::vector<Gap> expected = m.gaps(f, v.states(), 0, f.size);
    const auto gaps = v.gaps(verdict);
    ASSERT_EQ(std::vector<Gap>(gaps.begin(), gaps.end()), expected) << f.name;
    std::uint64_t missing = 0;
    std::uint64_t suspect = 0;
    for (const Gap& g : expected) (has_bytes(g.state) ? suspect : missing) += g.length;
    EXPECT_EQ(verdict.missing_bytes, missing);
    EXPECT_EQ(verdict.suspect_bytes, suspect);
    const bool contradicted = m.contradicted(f);
    FileState state = FileState::kWhole;
    if (missing != 0) {
      state = missing == f.size ? FileState::kLost : FileState::kDamaged;
    } else if (suspect != 0 || contradicted) {
      state = FileState::kDoubtful;
    }
    EXPECT_EQ(verdict.state, state) << f.name;
    EXPECT_EQ(v.doubts(m.disc(), id).empty(), suspect == 0 && !contradicted) << f.name;
  }
}

void expect_contents(Model& m, const SectorMap& states) {
  for (const ModelFile& f : m.files()) {
    FileReader reader(m.disc(), m.id(f));
    ASSERT_EQ(reader.size(), f.size);
    std::vector<std::uint8_t> out(12'000, 0xEE);
    for (int n = 0; n < 4; ++n) {
      const std::uint64_t from = n == 0 ? 0 : m.pick(0, f.size + 3);
      const auto want = static_cast<std::size_t>(n == 0 ? out.size() : m.pick(0, out.size()));
      std::vector<Gap> gaps;
      const std::size_t got = reader.read(from, std::span(out).first(want), gaps);
      ASSERT_EQ(got, from >= f.size ? 0 : std::min<std::uint64_t>(want, f.size - from));
      EXPECT_EQ(gaps, m.gaps(f, states, from, from + got)) << f.name << " from " << from;
      for (std::size_t i = 0; i < got; ++i) {
        const std::uint64_t p = f.positions[from + i];
        const bool there = has_bytes(m.state_of(p, states));
        ASSERT_EQ(out[i], there ? m.byte_at(p) : 0) << f.name << " byte " << from + i;
      }
    }
  }
}

void expect_hits(const Model& m, const Verdicts& v) {
  const Hits hits = find_hits(m.disc(), v);
  EXPECT_TRUE(hits.complete);
  std::map<NodeId, std::uint64_t> lost_of;  // by file, over all hits
  for (const Hit& h : hits.hits) {
    for (std::uint32_t t = h.first_target; t < h.first_target + h.target_count; ++t) {
      const HitTarget& target = hits.targets[t];
      if (target.structure == ~std::uint32_t{0}) lost_of[target.node] += target.bytes;
    }
    if (h.run.first < m.image().first_lba() || h.run.end() > m.image().end_lba()) continue;
    if (h.run.state == SectorState::kAbsent && h.run.end() == m.image().end_lba()) continue;  // may be the cut sector
    for (const ModelFile& f : m.files()) {
      std::uint64_t first = kNoPlace;
      std::uint64_t bytes = 0;
      for (std::uint64_t i = 0; i < f.size; ++i) {
        const std::uint64_t lba = f.positions[i] / kSectorBytes;
        if (lba < h.run.first || lba >= h.run.end() || m.state_of(f.positions[i], v.states()) != h.run.state) continue;
        first = std::min(first, i);
        ++bytes;
      }
      std::vector<HitTarget> listed;
      for (std::uint32_t t = h.first_target; t < h.first_target + h.target_count; ++t) {
        if (hits.targets[t].structure == ~std::uint32_t{0} && hits.targets[t].node == m.id(f)) {
          listed.push_back(hits.targets[t]);
        }
      }
      ASSERT_EQ(listed.size(), bytes == 0 ? 0U : 1U) << f.name << " in the run from " << h.run.first;
      if (bytes == 0) continue;
      EXPECT_EQ(listed[0].offset, first);
      EXPECT_EQ(listed[0].bytes, bytes);
    }
  }
  // What files lose to all runs is what they miss, short extents aside.
  for (const ModelFile& f : m.files()) {
    const auto nowhere = static_cast<std::uint64_t>(std::count(f.positions.begin(), f.positions.end(), kNoPlace));
    const Verdict& verdict = v.of(m.id(f));
    EXPECT_EQ(lost_of[m.id(f)], verdict.missing_bytes + verdict.suspect_bytes - nowhere) << f.name;
  }
}

class RandomDisc : public ::testing::TestWithParam<unsigned> {};

TEST_P(RandomDisc, WithAMapAgreesWithTheModelByteForByte) {
  for (unsigned i = 0; i < 25; ++i) {
    SCOPED_TRACE(numbered("seed ", GetParam() * 1000 + i));
    Model m(GetParam() * 1000 + i, true);
    const auto v = judge(m.disc(), {true, 1, {}});
    ASSERT_TRUE(v.ok());
    expect_verdicts(m, *v);
    expect_contents(m, v->states());
    expect_hits(m, *v);
    if (HasFailure()) return;
  }
}

TEST_P(RandomDisc, WithoutAMapAgreesWithTheModelOnOneThreadAndTwo) {
  for (unsigned i = 0; i < 25; ++i) {
    SCOPED_TRACE(numbered("seed ", GetParam() * 1000 + i));
    Model m(GetParam() * 1000 + i, false);
    const auto v = judge(m.disc(), {true, 1 + i % 2, {}});
    ASSERT_TRUE(v.ok());
    expect_looked_inside(m, v->states());
    expect_verdicts(m, *v);
    expect_contents(m, v->states());
    expect_hits(m, *v);
    Model same(GetParam() * 1000 + i, false);
    const auto other = judge(same.disc(), {true, 2 - i % 2, {}});
    ASSERT_TRUE(other.ok());
    EXPECT_EQ(other->states(), v->states());
    if (HasFailure()) return;
  }
}

INSTANTIATE_TEST_SUITE_P(Seeds, RandomDisc, ::testing::Range(1U, 9U));

}  // namespace
}  // namespace lacuna
