// SPDX-License-Identifier: GPL-3.0-or-later
// Pulling files that are complete only with what donors hold.
#include <gmock/gmock.h>

#include "combine/twin_box.h"
#include "salvage/archive_box.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

/// A disc with a file that lacks blocks 10 to 15 of 300, one that nobody has, and a donor.
struct TwinDiscs {
  TwinBox here{"here"}, there{"there"};
  std::string content = blocks(300, 1) + "end";
  std::unique_ptr<const Twins> twins;

  void open(Timestamp there_date = date(kMoment)) {
    here.damaged("a.bin", content, {{10, 16}, {200, 201}});
    here.damaged("gone.bin", blocks(20, 2), {{3, 4}});
    here.whole("b.bin", blocks(2, 3));
    there.whole("A.BIN", content, there_date);
    here.ready(), there.ready();
    twins = find_twins(here, {&there});
  }
  PullOptions with_twins() const {
    PullOptions options;
    options.completions = twins.get();
    return options;
  }
};

struct PullTwins : ::testing::Test, TwinDiscs {};

/// Gives nothing back of what it promised.
class Forgetful final : public Completions {
 public:
  explicit Forgetful(const Completions& inner) : inner_(inner) {}
  const Completion* of(NodeId file) const override { return inner_.of(file); }
  bool read(NodeId, std::uint64_t, std::span<std::uint8_t>) const override { return false; }

 private:
  const Completions& inner_;
};

TEST_F(PullTwins, ACompletedFileIsPulledWholeAndSaysWhereFrom) {
  open();
  const PullReport report = here.pull(with_twins());
  EXPECT_EQ(here.of(report, "a.bin").outcome, PullOutcome::kPulled);
  EXPECT_TRUE(here.of(report, "a.bin").completed);
  EXPECT_FALSE(here.of(report, "b.bin").completed);
  EXPECT_EQ(here.of(report, "gone.bin").outcome, PullOutcome::kLeftDamaged);
  EXPECT_EQ(read_text(here.to() / "a.bin"), content);
  EXPECT_EQ(here.check_sums(), 0);
  const ManifestEntry e = here.manifest().at("a.bin");
  EXPECT_EQ(e.state, FileState::kWhole);
  EXPECT_EQ(e.evidence, "twin");
  EXPECT_EQ(e.missing_bytes, 0u);
  EXPECT_THAT(e.gaps, IsEmpty());
  EXPECT_THAT(e.doubts, IsEmpty());
  EXPECT_THAT(e.donors, ElementsAre(Donation{
                            "there", "A.BIN", 7 * kBlock, {{10 * kBlock, 16 * kBlock}, {200 * kBlock, 201 * kBlock}}}));
  EXPECT_THAT(here.manifest().at("b.bin").donors, IsEmpty());
  const auto verified = verify(here.to());
  ASSERT_TRUE(verified.ok());
  EXPECT_THAT(verified->problems, IsEmpty());
  EXPECT_EQ(verified->not_whole, 1u) << "gone.bin only";
}

// What is whole with a donor's bytes is equal to the donor's own file, which is stored already.
TEST(PullTwinsOnce, ACompletedFileIsStoredOnceAndADoubtfulOneByItself) {
  for (const bool doubtful : {false, true}) {
    TwinDiscs discs;
    discs.open(date(doubtful ? kMoment + 5 : kMoment));
    PullOptions options;
    options.to = discs.here.scratch() / "archive";
    options.once = options.bag = true;
    discs.there.pull(options);
    options.completions = discs.twins.get();
    const PullReport report = discs.here.pull(options);
    EXPECT_TRUE(report.bag_closed);
    EXPECT_EQ(discs.here.of(report, "a.bin").shared, !doubtful);
    const ManifestEntry e = entries_in(manifest_of(options.to, "here")).at("a.bin");
    EXPECT_EQ(e.shared, !doubtful);
    EXPECT_EQ(e.target, doubtful ? "data/here/a.bin" : "data/there/A.BIN");
    EXPECT_EQ(e.evidence, "twin");
    EXPECT_THAT(e.donors, SizeIs(1));
    EXPECT_THAT(problems_in(options.to), IsEmpty());
    EXPECT_EQ(check_bag(options.to), "valid");
    EXPECT_EQ(discs.here.pull(options).bytes_written, 0u);
  }
}

TEST_F(PullTwins, ADoubtfulCompletionIsPulledAndMarked) {
  open(date(kMoment + 5));
  const PullReport report = here.pull(with_twins());
  EXPECT_EQ(here.of(report, "a.bin").outcome, PullOutcome::kPulled);
  const ManifestEntry e = here.manifest().at("a.bin");
  EXPECT_EQ(e.state, FileState::kDoubtful);
  EXPECT_THAT(e.doubts, ElementsAre(HasSubstr("the dates differ")));
  EXPECT_THAT(e.donors, SizeIs(1));
}

TEST_F(PullTwins, WithoutDonorsFirstAndWithThemLater) {
  open();
  PullOptions damaged;
  damaged.damaged = true;
  here.pull(damaged);
  EXPECT_TRUE(is_there(here.to() / "_damaged/a.bin"));
  PullReport report = here.pull(with_twins());
  EXPECT_EQ(here.of(report, "a.bin").outcome, PullOutcome::kPulled);
  EXPECT_EQ(read_text(here.to() / "a.bin"), content);
  EXPECT_EQ(here.manifest_entries().size(), 4u) << "the damaged ones of before are still listed";
  EXPECT_EQ(here.check_sums(), 0);

  // Again, then without the donors: the file stays what it is.
  report = here.pull(with_twins());
  EXPECT_EQ(here.of(report, "a.bin").outcome, PullOutcome::kAlreadyThere);
  here.pull();
  for (const ManifestEntry& e : here.manifest_entries()) {
    if (e.target != "a.bin") continue;
    EXPECT_EQ(e.state, FileState::kWhole);
    EXPECT_EQ(e.evidence, "twin");
    EXPECT_THAT(e.donors, SizeIs(1));
  }
  EXPECT_EQ(read_text(here.to() / "a.bin"), content);
  const auto verified = verify(here.to());
  ASSERT_TRUE(verified.ok());
  EXPECT_THAT(verified->problems, IsEmpty());
}

TEST_F(PullTwins, ADoubtfulOneIsReplacedWhenABetterDonorComes) {
  open(date(kMoment + 5));
  here.pull(with_twins());
  TwinBox better("better");
  better.whole("a.bin", content);
  better.ready();
  twins = find_twins(here, {&better});
  const PullReport report = here.pull(with_twins());
  EXPECT_EQ(here.of(report, "a.bin").outcome, PullOutcome::kAlreadyThere) << "the bytes are the same";
  const ManifestEntry e = here.manifest().at("a.bin");
  EXPECT_EQ(e.state, FileState::kWhole);
  EXPECT_EQ(e.donors.at(0).image, "better");
}

TEST_F(PullTwins, BytesThatCannotBeHadAgainLeaveTheFileDamaged) {
  open();
  const Forgetful forgetful(*twins);
  PullOptions options;
  options.completions = &forgetful;
  PullReport report = here.pull(options);
  EXPECT_EQ(here.of(report, "a.bin").outcome, PullOutcome::kLeftDamaged);
  EXPECT_FALSE(here.of(report, "a.bin").completed);
  EXPECT_FALSE(is_there(here.to() / "a.bin"));
  const ManifestEntry e = here.manifest().at("a.bin");
  EXPECT_EQ(e.state, FileState::kDamaged);
  EXPECT_EQ(e.missing_bytes, 7 * kBlock);
  EXPECT_EQ(e.evidence, "tree");
  EXPECT_THAT(e.donors, IsEmpty());
  EXPECT_THAT(report.findings.list(), SizeIs(1));

  options.damaged = true;
  report = here.pull(options);
  EXPECT_EQ(here.of(report, "a.bin").outcome, PullOutcome::kPulled);
  const std::string got = read_text(here.to() / "_damaged/a.bin");
  EXPECT_EQ(got.substr(10 * kBlock, 6 * kBlock), std::string(6 * kBlock, '\0'));
  EXPECT_EQ(here.check_sums(), 0);
}

TEST_F(PullTwins, TheDonorsNeedNotBeThereAnyMore) {
  open();
  auto search = TwinSearch::start(here.disc(), here.verdicts());
  {
    TwinBox gone("gone");
    gone.whole("a.bin", content);
    ASSERT_TRUE((*search)->look_at(gone.ready().disc(), "gone").ok());
  }
  twins = (*search)->finish();
  here.pull(with_twins());
  EXPECT_EQ(read_text(here.to() / "a.bin"), content);
}

TEST(ManifestDonors, AreReadBack) {
  ManifestEntry e;
  e.path = "a";
  e.kind = "file";
  e.evidence = "twin";
  e.donors = {{"b.iso", "x/a", 3, {{1, 2}, {5, 7}}}};
  std::string error;
  const auto back = parse_entry(to_line(e), error);
  ASSERT_TRUE(back) << error;
  EXPECT_EQ(back->donors, e.donors);
  EXPECT_FALSE(parse_entry(R"({"path":"a","kind":"file","state":"whole","outcome":"pulled","donors":[1]})", error));
}

TEST(CompletedReading, TakesWhatIsCoveredAndKeepsOtherGaps) {
  // Of three bad blocks the first two are covered, the second no more to be had.
  class Half final : public Completions {
   public:
    Half() { completion_.covered = RangeSet::from_unsorted({{kBlock, 2 * kBlock}, {3 * kBlock, 4 * kBlock}}); }
    const Completion* of(NodeId) const override { return &completion_; }
    bool read(NodeId, std::uint64_t offset, std::span<std::uint8_t> out) const override {
      std::fill(out.begin(), out.end(), std::uint8_t{7});
      return offset < 2 * kBlock;
    }

   private:
    Completion completion_;
  };
  TwinBox box("box");
  box.damaged("a", blocks(8, 1), {{1, 2}, {3, 4}, {5, 6}});
  box.ready();
  const Half half;
  CompletedReader reader(box.disc(), box.id("a"), &half);
  std::vector<std::uint8_t> out(8 * kBlock);
  std::vector<Gap> gaps;
  EXPECT_EQ(reader.read(0, out, gaps), out.size());
  EXPECT_EQ(out[kBlock], 7);
  EXPECT_EQ(out[3 * kBlock], 0);
  EXPECT_THAT(gaps,
              ElementsAre(Gap{3 * kBlock, kBlock, SectorState::kBad}, Gap{5 * kBlock, kBlock, SectorState::kBad}));
}

}  // namespace
}  // namespace lacuna::test
