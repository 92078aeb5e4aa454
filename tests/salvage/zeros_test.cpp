// SPDX-License-Identifier: GPL-3.0-or-later
// Extents without a place: what was never recorded is whole and reads as zeros, what nobody knows the place of is
// missing.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "lacuna/content.h"
#include "lacuna/hits.h"
#include "lacuna/verdict.h"
#include "salvage/pull_box.h"

namespace lacuna {
namespace {

using test::at_lba;
using test::HandDisc;
using test::MemoryImage;
using test::numbered_sector;
using test::numbered_sectors;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

constexpr std::uint64_t kGiB = std::uint64_t{1} << 30;
using Bytes = std::vector<std::uint8_t>;

Extent zeros(std::uint64_t bytes) { return {kZeros, bytes, 0, 0}; }
Extent nowhere(std::uint64_t bytes) { return {kNowhere, bytes, 0, 0}; }

/// A disc of 40 sectors, the files that a test gives it, and what is judged of them.
class Sparse {
 public:
  explicit Sparse(MemoryImage memory = MemoryImage(numbered_sectors(40)).with_map()) : image_(memory.open()) {}

  void file(const std::string& name, std::uint64_t size, const std::vector<Extent>& extents, std::uint16_t flags = 0) {
    hand_.file(name, size, extents, flags);
  }
  void judge_all() {
    auto v = judge(hand_.finish(), {true, 1, {}});
    ASSERT_TRUE(v.ok());
    verdicts_ = std::move(*v);
  }
  FileState state(const char* name) const { return verdicts_.of(hand_.id(name)).state; }
  std::vector<Gap> gaps(const char* name) const {
    const auto g = verdicts_.gaps(verdicts_.of(hand_.id(name)));
    return {g.begin(), g.end()};
  }
  std::vector<std::string> doubts(const char* name) const { return verdicts_.doubts(hand_.disc(), hand_.id(name)); }
  /// `count` bytes from `offset`, and the gaps in them.
  std::pair<Bytes, std::vector<Gap>> read(const char* name, std::uint64_t offset, std::size_t count) const {
    FileReader reader(hand_.disc(), hand_.id(name));
    Bytes out(count, 0xEE);
    std::vector<Gap> gaps;
    EXPECT_EQ(reader.read(offset, out, gaps), count);
    return {out, gaps};
  }
  const HandDisc& hand() const { return hand_; }
  HandDisc& hand() { return hand_; }
  const Verdicts& verdicts() const { return verdicts_; }

 private:
  std::unique_ptr<Image> image_;
  HandDisc hand_{*image_};
  Verdicts verdicts_;
};

Bytes joined(std::initializer_list<Bytes> parts) {
  Bytes all;
  for (const Bytes& p : parts) all.insert(all.end(), p.begin(), p.end());
  return all;
}

TEST(Zeros, NothingOnTheDiscCanBeMissingOrSuspectOrLookedAt) {
  MemoryImage memory(numbered_sectors(40));
  memory.allow_only({});  // without a map, files are looked inside
  Sparse s(memory);
  s.file("zeros", 5000, {zeros(5000)});
  s.judge_all();
  EXPECT_EQ(s.state("zeros"), FileState::kWhole);
  EXPECT_THAT(s.gaps("zeros"), IsEmpty());
  EXPECT_THAT(s.doubts("zeros"), IsEmpty());
  EXPECT_EQ(s.read("zeros", 0, 5000), std::pair(Bytes(5000, 0), std::vector<Gap>{}));
}

TEST(Zeros, AtTheHeadInTheMiddleAndAtTheTail) {
  Sparse s;
  s.file("head", 4096, {zeros(2048), at_lba(20, 2048)});
  s.file("middle", 6144, {at_lba(21, 2048), zeros(2048), at_lba(22, 2048)});
  s.file("tail", 4096 + 700, {at_lba(23, 4096), zeros(700)});
  s.judge_all();
  for (const char* name : {"head", "middle", "tail"}) {
    EXPECT_EQ(s.state(name), FileState::kWhole) << name;
    EXPECT_THAT(s.gaps(name), IsEmpty()) << name;
  }
  const Bytes none(2048, 0);
  EXPECT_EQ(s.read("head", 0, 4096).first, joined({none, numbered_sector(20)}));
  EXPECT_EQ(s.read("middle", 0, 6144).first, joined({numbered_sector(21), none, numbered_sector(22)}));
  EXPECT_EQ(s.read("tail", 4090, 706).second, std::vector<Gap>{});
}

TEST(Zeros, DamageBesideThemIsNotHidden) {
  MemoryImage memory(numbered_sectors(40));
  memory.mark(20, 1, SectorState::kBad).mark(22, 1, SectorState::kSuspect);
  Sparse s(memory);
  s.file("head lost", 4096, {at_lba(20, 2048), zeros(2048)});
  s.file("tail lost", 4096, {zeros(2048), {20 * kSectorBytes, 2048, 0, 0}}, node_flag::kBoot);
  s.file("suspect", 6144, {zeros(2048), at_lba(22, 2048), zeros(2048)});
  s.file("outside", 8192, {zeros(2048), at_lba(39, 4096), zeros(2048)});
  s.judge_all();
  EXPECT_THAT(s.gaps("head lost"), ElementsAre(Gap{0, 2048, SectorState::kBad}));
  EXPECT_THAT(s.gaps("tail lost"), ElementsAre(Gap{2048, 2048, SectorState::kBad}));
  EXPECT_EQ(s.state("head lost"), FileState::kDamaged);
  EXPECT_EQ(s.state("suspect"), FileState::kDoubtful);
  EXPECT_THAT(s.gaps("suspect"), ElementsAre(Gap{2048, 2048, SectorState::kSuspect}));
  EXPECT_THAT(s.doubts("suspect"), ElementsAre("1 sector suspect, LBA 22"));
  EXPECT_THAT(s.gaps("outside"), ElementsAre(Gap{4096, 2048, SectorState::kAbsent}));
  EXPECT_EQ(s.read("outside", 0, 8192).second, s.gaps("outside"));
}

TEST(Zeros, SizesBeyondAndBeforeTheirEnd) {
  Sparse s;
  s.file("longer", 5000, {zeros(4096)});
  s.file("shorter", 3000, {zeros(2048), zeros(2048)});
  s.file("nothing", 0, {zeros(2048)});
  s.file("behind it", 100, {at_lba(20, 100)});
  s.judge_all();
  EXPECT_THAT(s.gaps("longer"), ElementsAre(Gap{4096, 904, SectorState::kAbsent}));
  EXPECT_EQ(s.state("longer"), FileState::kDamaged);
  EXPECT_THAT(s.gaps("shorter"), IsEmpty());
  EXPECT_EQ(s.state("shorter"), FileState::kDoubtful) << "its extents hold more than its size";
  EXPECT_EQ(s.state("nothing"), FileState::kDoubtful);
  EXPECT_EQ(s.state("behind it"), FileState::kWhole);
  EXPECT_EQ(s.read("shorter", 0, 3000), std::pair(Bytes(3000, 0), std::vector<Gap>{}));
}

TEST(Zeros, MoreThanFourGibibytesInOneExtentAndInMany) {
  Sparse s;
  s.file("one", 6 * kGiB + 100, {zeros(6 * kGiB), at_lba(20, 100)});
  std::vector<Extent> many;
  for (int i = 0; i < 5000; ++i) many.push_back(zeros(kGiB - 2048));  // the longest of ECMA-167 4/14.14.1.1 in blocks
  many.push_back(at_lba(21, 100));
  s.file("many", 5000 * (kGiB - 2048) + 100, many);
  std::vector<Extent> combed;
  for (std::uint64_t i = 0; i < 10; ++i) {
    combed.push_back(at_lba(22 + i, 10));
    combed.push_back(zeros(kGiB));
  }
  s.file("combed", 10 * (kGiB + 10), combed);
  s.judge_all();
  for (const char* name : {"one", "many", "combed"}) {
    EXPECT_EQ(s.state(name), FileState::kWhole) << name;
    EXPECT_THAT(s.gaps(name), IsEmpty()) << name;
  }
  const Bytes at_21 = numbered_sector(21);
  const auto [bytes, gaps] = s.read("many", 5000 * (kGiB - 2048) - 50, 150);
  EXPECT_EQ(bytes, joined({Bytes(50, 0), Bytes(at_21.begin(), at_21.begin() + 100)}));
  EXPECT_THAT(gaps, IsEmpty());
}

TEST(Zeros, LengthsThatNoNumberHoldsDoNotOverflow) {
  constexpr std::uint64_t kMost = ~std::uint64_t{0};
  Sparse s;
  s.file("zeros", kMost, {zeros(kMost), zeros(kMost), at_lba(20, 100), zeros(kMost)});
  s.file("nowhere", kMost, {nowhere(kMost), nowhere(kMost), at_lba(21, 100)});
  s.file("both", kMost, {at_lba(22, 100), zeros(kMost - 200), nowhere(kMost)});
  s.judge_all();
  EXPECT_THAT(s.gaps("zeros"), IsEmpty());
  EXPECT_THAT(s.gaps("nowhere"), ElementsAre(Gap{0, kMost, SectorState::kAbsent}));
  EXPECT_THAT(s.gaps("both"), ElementsAre(Gap{kMost - 100, 100, SectorState::kAbsent}));
  EXPECT_EQ(s.read("zeros", kMost - 10, 10), std::pair(Bytes(10, 0), std::vector<Gap>{}));
  EXPECT_THAT(s.read("both", kMost - 110, 110).second, ElementsAre(Gap{kMost - 100, 100, SectorState::kAbsent}));
}

TEST(Zeros, InterleavedAndCompressedFilesKeepTheirOwnRules) {
  MemoryImage memory(numbered_sectors(40));
  memory.mark(22, 1, SectorState::kBad);
  Sparse s(memory);
  s.file("interleaved", 3 * 2048 + 500, {{20 * kSectorBytes, 2 * 2048, 2048, 2048}, zeros(2048), at_lba(30, 500)});
  const NodeId packed = s.hand().file("packed", 40'000, {zeros(2048), at_lba(32, 2048)});
  s.hand().tree().edit_details(packed).zisofs = Zisofs{1, 1, 4, 15, 40'000};
  s.judge_all();
  EXPECT_THAT(s.gaps("interleaved"), ElementsAre(Gap{2048, 2048, SectorState::kBad}));
  // Its header is never recorded and so is none: nothing of it can be decoded, and that is said.
  EXPECT_EQ(s.state("packed"), FileState::kLost);
  EXPECT_THAT(s.doubts("packed"), ::testing::Contains(HasSubstr("no such header")));
}

TEST(Nowhere, IsMissingHoweverGoodTheImageIs) {
  Sparse s;
  s.file("all", 5000, {nowhere(5000)});
  s.file("part", 6144, {at_lba(20, 2048), nowhere(2048), zeros(2048)});
  s.judge_all();
  EXPECT_EQ(s.state("all"), FileState::kLost);
  EXPECT_THAT(s.gaps("all"), ElementsAre(Gap{0, 5000, SectorState::kAbsent}));
  EXPECT_EQ(s.state("part"), FileState::kDamaged);
  EXPECT_THAT(s.gaps("part"), ElementsAre(Gap{2048, 2048, SectorState::kAbsent}));
  const auto [bytes, gaps] = s.read("part", 0, 6144);
  EXPECT_EQ(bytes, joined({numbered_sector(20), Bytes(4096, 0)}));
  EXPECT_EQ(gaps, s.gaps("part"));
}

TEST(Nowhere, AndZerosHitNothingAndAreHitByNothing) {
  MemoryImage memory(numbered_sectors(40));
  memory.mark(21, 2, SectorState::kBad);
  Sparse s(memory);
  s.file("a", 8192, {at_lba(20, 2048), zeros(2048), nowhere(2048), at_lba(22, 2048)});
  s.judge_all();
  const Hits hits = find_hits(s.hand().disc(), s.verdicts());
  ASSERT_EQ(hits.hits.size(), 1U);
  EXPECT_EQ(hits.hits[0].run, (SectorRun{21, 2, SectorState::kBad}));
  EXPECT_EQ(hits.hits[0].idle_sectors, 1U);
  ASSERT_EQ(hits.targets.size(), 1U);
  EXPECT_EQ(hits.targets[0].offset, 6144U);
  EXPECT_EQ(hits.targets[0].bytes, 2048U);
}

TEST(Zeros, ManyFilesOfManyStretchesCostWhatTheyAre) {
  // 2000 files of 500 stretches of zeros between lost ones: a million of each, judged file by file.
  Sparse s;
  std::vector<Extent> comb;
  for (int i = 0; i < 500; ++i) {
    comb.push_back(zeros(2048));
    comb.push_back(nowhere(2048));
  }
  for (int i = 0; i < 2000; ++i) s.file(std::to_string(i), 500 * 4096, comb);
  s.judge_all();
  EXPECT_EQ(s.state("1999"), FileState::kDamaged);
  EXPECT_EQ(s.verdicts().counts()[static_cast<std::size_t>(FileState::kDamaged)].missing_bytes, 2000ULL * 500 * 2048);
}

// Pulling them.

TEST(PullZeros, ComeOutAsHolesOfTheRightLengthWithTheRightSums) {
  test::ScratchFolder scratch;
  Sparse s;
  s.file("sparse", (16 << 20) + 2048, {zeros(16 << 20), at_lba(20, 2048)});
  s.file("all zeros", 3 << 20, {zeros(3 << 20)});
  s.file("missing", 4096, {at_lba(21, 2048), nowhere(2048)});
  s.judge_all();
  PullOptions options;
  options.to = scratch.path() / "out";
  options.damaged = true;
  const auto report = pull(s.hand().disc(), s.verdicts(), options);
  ASSERT_TRUE(report.ok()) << report.error().message;
  EXPECT_EQ(report->counts[static_cast<std::size_t>(PullOutcome::kPulled)], 3U);

  const std::string sparse = test::read_text(options.to / "sparse");
  ASSERT_EQ(sparse.size(), (16U << 20) + 2048);
  EXPECT_EQ(sparse.find_first_not_of('\0'), std::string(16 << 20, '\0').size());
  const Bytes last = numbered_sector(20);
  EXPECT_TRUE(std::equal(last.begin(), last.end(), sparse.end() - 2048,
                         [](std::uint8_t a, char b) { return a == static_cast<std::uint8_t>(b); }));
  struct stat st {};
  ASSERT_EQ(::stat((options.to / "sparse").c_str(), &st), 0);
  EXPECT_LT(st.st_blocks * 512, 1 << 20) << "zeros are not written";
  EXPECT_EQ(test::read_text(options.to / "all zeros"), std::string(3 << 20, '\0'));
  EXPECT_THAT(test::read_text(options.to / "_damaged/missing.gaps.txt"), HasSubstr("\n2048 2048 absent\n"));
  EXPECT_EQ(test::shell(options.to, "sha256sum --check --strict --quiet SHA256SUMS"), 0);

  const auto again = pull(s.hand().disc(), s.verdicts(), options);
  ASSERT_TRUE(again.ok());
  EXPECT_EQ(again->bytes_written, 0U);
}

}  // namespace
}  // namespace lacuna
