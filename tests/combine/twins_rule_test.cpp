// SPDX-License-Identifier: GPL-3.0-or-later
// The rule by which two files are one, point by point.
#include <gmock/gmock.h>

#include "combine/twin_box.h"
#include "combine/twin_rule.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

/// What becomes of a file of 20 blocks that lacks the 5th to 7th, by a donor's file.
struct Pair {
  TwinBox here{"here"}, there{"there"};
  std::unique_ptr<const Twins> twins;

  TwinFile run(const std::string& mine, const std::string& other, std::vector<Range> lacking = {{4, 7}},
               Timestamp other_date = date(kMoment), const std::string& other_name = "Harbour.jpg",
               std::vector<Range> lacking_there = {}) {
    here.damaged("Harbour.jpg", mine, std::move(lacking), date(kMoment));
    there.damaged(other_name, other, std::move(lacking_there), other_date);
    twins = find_twins(here.ready(), {&there.ready()});
    return twin_of(*twins, here, "Harbour.jpg");
  }
};

TEST(TwinRule, TheSameFileOnAnotherDiscMakesItWhole) {
  Pair p;
  const std::string content = blocks(20, 1) + "tail";
  const TwinFile f = p.run(content, content);
  EXPECT_EQ(f.outcome, TwinOutcome::kWhole);
  EXPECT_THAT(f.doubts, IsEmpty());
  ASSERT_TRUE(f.completion);
  EXPECT_EQ(f.completion->state, FileState::kWhole);
  EXPECT_EQ(f.completion->basis, Basis::kMap);
  ASSERT_THAT(f.completion->donors, SizeIs(1));
  EXPECT_EQ(f.completion->donors[0], (Donation{"there", "Harbour.jpg", 3 * kBlock, {{4 * kBlock, 7 * kBlock}}}));
  EXPECT_EQ(completed(*p.twins, p.here, "Harbour.jpg"), content);
  EXPECT_EQ(f.matches[0].shared_blocks, 17u);
  EXPECT_EQ(f.matches[0].shared_bytes, 17 * kBlock + 4);
}

TEST(TwinRule, AReadableByteThatDiffersMakesItAnotherVersion) {
  Pair p;
  const std::string content = blocks(20, 1);
  std::string later = content;
  later.back() = static_cast<char>(later.back() ^ 1);
  const TwinFile f = p.run(content, later);
  EXPECT_EQ(f.outcome, TwinOutcome::kCandidates);
  EXPECT_FALSE(f.completion);
  ASSERT_THAT(f.candidates, SizeIs(1));
  EXPECT_EQ(f.candidates[0].kind, TwinCandidate::Kind::kDiffers);
  EXPECT_EQ(f.candidates[0].differs_at / kBlock, 19u);
}

TEST(TwinRule, AnotherDateMakesItDoubtful) {
  Pair p;
  const std::string content = blocks(20, 1);
  std::string later = content;
  later[5 * kBlock] = static_cast<char>(later[5 * kBlock] ^ 1);  // where nothing can be compared
  const TwinFile f = p.run(content, later, {{4, 7}}, date(kMoment + 60));
  EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
  EXPECT_EQ(f.completion->state, FileState::kDoubtful);
  EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("the dates differ: 2001-09-09T01:46:40+00:00 here, "
                                              "2001-09-09T01:47:40+00:00 of 'Harbour.jpg' on there")));
}

TEST(TwinRule, ADateThatIsNotRecordedProvesNothing) {
  Pair p;
  const TwinFile f = p.run(blocks(20, 1), blocks(20, 1), {{4, 7}}, Timestamp{});
  EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
  EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("not recorded of 'Harbour.jpg'")));
}

TEST(TwinRule, MoreLackingThanComparedIsDoubtful) {
  Pair p;
  const TwinFile f = p.run(blocks(20, 1), blocks(20, 1), {{4, 15}});
  EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
  EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("11 blocks are lacking here, and only 9")));
}

TEST(TwinRule, TooFewBlocksAreDoubtful) {
  Pair p;
  const TwinFile f = p.run(blocks(3, 1), blocks(3, 1), {{1, 2}});
  EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
  EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("only 2 blocks that tell something")));
}

TEST(TwinRule, FourBlocksWithOneHoleSuffice) {
  Pair p;
  EXPECT_EQ(p.run(blocks(4, 1), blocks(4, 1), {{2, 3}}).outcome, TwinOutcome::kWhole);
}

TEST(TwinRule, RepeatedBlocksCountOnceAndFillNotAtAll) {
  const std::string one = blocks(1, 7);
  std::string repeated;
  for (int i = 0; i < 20; ++i) repeated += one;
  Pair p;
  TwinFile f = p.run(repeated, repeated);
  EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
  EXPECT_EQ(f.matches.at(0).shared_blocks, 1u);

  Pair q;
  const std::string zeros = std::string(19 * kBlock, '\0') + one;
  f = q.run(zeros, zeros);
  EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
  EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("only 1 block")));

  Pair r;
  const std::string nothing(20 * kBlock, '\0');
  f = r.run(nothing, nothing);
  EXPECT_EQ(f.outcome, TwinOutcome::kCandidates);
  EXPECT_EQ(f.candidates.at(0).kind, TwinCandidate::Kind::kSameNameAndDate);
}

TEST(TwinRule, AnotherNameNeedsManyBlocksAndToBeAlone) {
  const std::string content = blocks(40, 1);
  Pair alone;
  EXPECT_EQ(alone.run(content, content, {{4, 7}}, date(kMoment), "renamed.jpg").outcome, TwinOutcome::kWhole);
  Pair few;
  TwinFile f = few.run(blocks(15, 1), blocks(15, 1), {{4, 6}}, date(kMoment), "renamed.jpg");
  EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
  EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("the names differ, and only 13 blocks")));
  Pair much;
  EXPECT_EQ(much.run(content, content, {{4, 14}}, date(kMoment), "renamed.jpg").outcome, TwinOutcome::kDoubtful);

  Pair series;
  series.there.whole("page 3.jpg", blocks(40, 3), date(kMoment + 2));
  f = series.run(content, content, {{4, 7}}, date(kMoment), "page 2.jpg");
  EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
  EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("not the only file of its size from that moment")));
  Pair series_here;
  series_here.here.whole("page 3.jpg", blocks(40, 3), date(kMoment - 1));
  EXPECT_EQ(series_here.run(content, content, {{4, 7}}, date(kMoment), "page 2.jpg").outcome, TwinOutcome::kDoubtful);
}

TEST(TwinRule, NeitherNameNorDateAndFewBlocksIsACandidateOnly) {
  Pair p;
  const TwinFile f = p.run(blocks(15, 1), blocks(15, 1), {{4, 6}}, date(5), "other.dat");
  EXPECT_EQ(f.outcome, TwinOutcome::kCandidates);
  EXPECT_FALSE(f.completion);
  EXPECT_EQ(f.candidates.at(0).kind, TwinCandidate::Kind::kAgrees);
}

TEST(TwinRule, AnotherSizeIsNoTwin) {
  Pair p;
  const std::string content = blocks(20, 1);
  EXPECT_EQ(p.run(content, content + "appended").outcome, TwinOutcome::kNothing);
}

TEST(TwinRule, ALostFileHasCandidatesOnly) {
  Pair p;
  const TwinFile f = p.run(blocks(4, 1), blocks(4, 1), {{0, 4}});
  EXPECT_EQ(f.outcome, TwinOutcome::kCandidates);
  EXPECT_FALSE(f.completion);
  EXPECT_EQ(f.candidates.at(0).kind, TwinCandidate::Kind::kSameNameAndDate);
  EXPECT_EQ(f.candidates.at(0).state, FileState::kWhole);
  Pair other_date;
  EXPECT_EQ(other_date.run(blocks(4, 1), blocks(4, 1), {{0, 4}}, date(7)).outcome, TwinOutcome::kNothing);
}

TEST(TwinRule, AnotherVersionOfTheSameDateMakesDatesWorthless) {
  const std::string content = blocks(20, 1);
  std::string version = content;
  version[0] = static_cast<char>(version[0] ^ 1);
  TwinBox here("here"), there("there"), third("third");
  here.damaged("a", content, {{4, 7}});
  there.whole("a", content);
  third.whole("a", version);
  for (const auto& donors :
       {std::vector<const TwinBox*>{&there, &third}, std::vector<const TwinBox*>{&third, &there}}) {
    here.ready(), there.ready(), third.ready();
    const auto twins = find_twins(here, donors);
    const TwinFile f = twin_of(*twins, here, "a");
    EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
    EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("'a' on third has its name, size and date and differs")));
  }
}

TEST(TwinRule, WhatIsGivenMustTouchWhatIsCompared) {
  const std::string content = blocks(40, 1);
  Pair p;
  // The donor has blocks 10 to 19, which are lacking here, and nothing beside them.
  TwinFile f = p.run(content, content, {{8, 22}}, date(kMoment), "Harbour.jpg", {{5, 10}, {20, 25}});
  EXPECT_EQ(f.outcome, TwinOutcome::kPartly);
  EXPECT_THAT(f.matches.at(0).doubts, ElementsAre(HasSubstr("touches nothing that can be compared")));
}

TEST(TwinRule, SuspectBytesHereAreTakenFromADonorThatHasThem) {
  const std::string content = blocks(20, 1);
  std::string filled = content;
  filled.replace(4 * kBlock, 2 * kBlock, 2 * kBlock, '\0');
  TwinBox there("there");
  there.whole("a", content);
  there.ready();
  PullBox here;
  here.file("a", filled, 0, date(1'000'000'000));
  std::vector<std::uint8_t> bytes = here.memory().bytes();
  here.open(MemoryImage(bytes).open("here"));  // without a map: what is filled is suspect
  EXPECT_EQ(here.verdicts().of(1).state, FileState::kDoubtful);
  auto search = TwinSearch::start(here.disc(), here.verdicts());
  ASSERT_TRUE(search.ok());
  ASSERT_TRUE((*search)->look_at(there.disc(), "there").ok());
  const auto twins = (*search)->finish();
  ASSERT_NE(twins->of(1), nullptr);
  EXPECT_EQ(twins->of(1)->state, FileState::kWhole);
  EXPECT_EQ(twins->of(1)->basis, Basis::kAssumed);
}

TEST(TwinRule, Dates) {
  const Timestamp t = date(1'000'000'000);
  EXPECT_TRUE(same_date(t, date(1'000'000'000)));
  EXPECT_FALSE(same_date(t, date(1'000'000'001)));
  EXPECT_FALSE(same_date({}, {}));
  EXPECT_TRUE(same_date(t, date(1'000'000'000, 250'000'000))) << "one records no fraction";
  EXPECT_FALSE(same_date(date(1'000'000'000, 250'000'000), date(1'000'000'000, 500'000'000)));
  // 01:46:40 without a zone, and 01:46:40+02:00.
  Timestamp zoned = date(1'000'000'000 - 7200);
  zoned.zone_minutes = 120;
  EXPECT_TRUE(same_date(t, zoned));
  EXPECT_FALSE(same_date(t, date(1'000'000'000 - 7200))) << "an hour is an hour when both say nothing of zones";
  Timestamp other = date(1'000'000'000 - 3600);
  other.zone_minutes = 60;
  EXPECT_FALSE(same_date(zoned, other)) << "both name their zone, and the moments differ";
}

TEST(TwinRule, Names) {
  Tree tree;
  const auto node = [&](std::string_view iso, std::string_view joliet) {
    Node n;
    n.view = joliet.empty() ? View::kIso9660 : View::kJoliet;
    if (!iso.empty()) n.names[static_cast<std::size_t>(View::kIso9660)] = tree.add_text(iso);
    if (!joliet.empty()) n.names[static_cast<std::size_t>(View::kJoliet)] = tree.add_text(joliet);
    return n;
  };
  const auto same = [&](const Node& a, const Node& b) { return same_name(tree, a, tree, b); };
  EXPECT_TRUE(same(node("HARBOUR.JPG", ""), node("", "Harbour.jpg")));
  EXPECT_TRUE(same(node("HARBOUR_.JPG", ""), node("HARBOUR_.JPG", "Harbour 1.jpg"))) << "one has the short name only";
  EXPECT_FALSE(same(node("HARBOUR_.JPG", "Harbour 2.jpg"), node("HARBOUR_.JPG", "Harbour 1.jpg")));
  EXPECT_FALSE(same(node("A.JPG", ""), node("B.JPG", "")));
}

TEST(TwinRule, BlocksThatTellNothing) {
  const std::string data = noise(kBlock, 3);
  const auto tells = [](const std::string& s) {
    return tells_something({reinterpret_cast<const std::uint8_t*>(s.data()), s.size()});
  };
  EXPECT_TRUE(tells(data));
  EXPECT_FALSE(tells(std::string(kBlock, 'x')));
  EXPECT_FALSE(tells(data.substr(0, 200)));
  EXPECT_TRUE(tells(data.substr(0, 256)));
}

}  // namespace
}  // namespace lacuna::test
