// SPDX-License-Identifier: GPL-3.0-or-later
// Several donors: completing each other, contradicting each other, hurt and hostile ones, and the image itself.
#include <gmock/gmock.h>

#include <algorithm>

#include "combine/twin_box.h"
#include "support/iso_builder.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

TEST(TwinDonors, DamagedOnesCompleteEachOther) {
  const std::string content = blocks(30, 1);
  TwinBox here("here"), first("first"), second("second");
  here.damaged("a", content, {{10, 16}});
  first.damaged("a", content, {{13, 20}});
  second.damaged("a", content, {{5, 13}});
  here.ready(), first.ready(), second.ready();
  for (auto donors : {std::vector<const TwinBox*>{&first, &second}, std::vector<const TwinBox*>{&second, &first}}) {
    const auto twins = find_twins(here, donors);
    const TwinFile f = twin_of(*twins, here, "a");
    EXPECT_EQ(f.outcome, TwinOutcome::kWhole);
    ASSERT_TRUE(f.completion);
    EXPECT_THAT(f.completion->donors, SizeIs(2));
    EXPECT_EQ(f.completion->donors[0].bytes, 3 * kBlock);
    EXPECT_EQ(completed(*twins, here, "a"), content);
  }
  const auto one = find_twins(here, {&first});
  EXPECT_EQ(twin_of(*one, here, "a").outcome, TwinOutcome::kPartly);
  EXPECT_EQ(twin_of(*one, here, "a").found_bytes, 3 * kBlock);
  EXPECT_EQ(one->of(here.id("a")), nullptr);
}

TEST(TwinDonors, ThoseThatContradictEachOtherGiveNothing) {
  const std::string content = blocks(30, 1);
  std::string version = content;
  version[12 * kBlock + 5] ^= 1;
  TwinBox here("here"), first("first"), second("second");
  here.damaged("a", content, {{10, 16}});
  first.whole("a", content);
  second.whole("a", version);
  here.ready(), first.ready(), second.ready();
  for (auto donors : {std::vector<const TwinBox*>{&first, &second}, std::vector<const TwinBox*>{&second, &first}}) {
    const auto twins = find_twins(here, donors);
    const TwinFile f = twin_of(*twins, here, "a");
    EXPECT_EQ(f.outcome, TwinOutcome::kContradicted);
    EXPECT_FALSE(f.completion);
    EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("from byte 24581 on, 'a' on ")));
  }
}

TEST(TwinDonors, OneOfAnotherDateThatContradictsMakesDoubtful) {
  const std::string content = blocks(30, 1);
  std::string version = content;
  version[12 * kBlock + 5] ^= 1;
  TwinBox here("here"), first("first"), second("second");
  here.damaged("a", content, {{10, 16}});
  first.whole("a", content);
  second.whole("a", version, date(kMoment + 100));
  here.ready(), first.ready(), second.ready();
  for (auto donors : {std::vector<const TwinBox*>{&first, &second}, std::vector<const TwinBox*>{&second, &first}}) {
    const auto twins = find_twins(here, donors);
    const TwinFile f = twin_of(*twins, here, "a");
    EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
    EXPECT_EQ(completed(*twins, here, "a"), content) << "the bytes are those of the date that agrees";
    EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("contradict each other")));
    ASSERT_THAT(f.completion->donors, SizeIs(1));
    EXPECT_EQ(f.completion->donors[0].image, "first");
  }
}

TEST(TwinDonors, AnUnsureOneFillsWhatTheSureOneLacksAndMakesDoubtful) {
  const std::string content = blocks(30, 1);
  TwinBox here("here"), first("first"), second("second");
  here.damaged("a", content, {{10, 16}});
  first.damaged("a", content, {{13, 20}});
  second.whole("a", content, date(kMoment + 100));
  here.ready(), first.ready(), second.ready();
  for (auto donors : {std::vector<const TwinBox*>{&first, &second}, std::vector<const TwinBox*>{&second, &first}}) {
    const auto twins = find_twins(here, donors);
    const TwinFile f = twin_of(*twins, here, "a");
    EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
    EXPECT_EQ(completed(*twins, here, "a"), content);
    std::uint64_t bytes = 0;
    for (const Donation& d : f.completion->donors) bytes += d.bytes;
    EXPECT_EQ(bytes, 6 * kBlock) << "no byte is counted twice";
  }
}

TEST(TwinDonors, TheImageItselfIsHarmlessAndMayHoldACopy) {
  const std::string content = blocks(30, 1);
  TwinBox alone("here");
  alone.damaged("a", content, {{10, 16}});
  alone.ready();
  EXPECT_EQ(twin_of(*find_twins(alone, {&alone, &alone}), alone, "a").outcome, TwinOutcome::kNothing);

  TwinBox copied("here");
  copied.damaged("a", content, {{10, 16}});
  const std::size_t folder = copied.directory("backup");
  copied.file("a", content, folder, date(kMoment));
  copied.ready();
  const auto twins = find_twins(copied, {&copied});
  const TwinFile f = twin_of(*twins, copied, "a");
  EXPECT_EQ(f.outcome, TwinOutcome::kWhole);
  EXPECT_EQ(f.completion->donors.at(0).path, "backup/a");
}

TEST(TwinDonors, SiblingsOfOneNameHereAreHeldAgainstDonors) {
  // Pages that a program wrote in one second, of one size and under one name in several folders: the donor has another
  // of them, which differs in nothing but what is lacking here. A sibling on this disc shows it.
  const auto page = [](unsigned which) { return blocks(10, 1) + blocks(1, 50 + which) + blocks(19, 2); };
  TwinBox here("here"), there("there");
  here.damaged("index.htm", page(1), {{10, 11}});
  const std::size_t folder = here.directory("b");
  here.file("index.htm", page(2), folder, date(kMoment));
  there.whole("index.htm", page(3));
  const auto twins = find_twins(here.ready(), {&there.ready()});
  EXPECT_EQ(twin_of(*twins, here, "index.htm").outcome, TwinOutcome::kContradicted);

  TwinBox readable("here");
  readable.damaged("index.htm", page(1), {{12, 13}});
  readable.file("index.htm", page(2), readable.directory("b"), date(kMoment));
  TwinBox copy("copy");
  copy.whole("index.htm", page(1));
  const auto other = find_twins(readable.ready(), {&copy.ready()});
  EXPECT_EQ(twin_of(*other, readable, "index.htm").outcome, TwinOutcome::kDoubtful);
  EXPECT_THAT(twin_of(*other, readable, "index.htm").doubts,
              ElementsAre(HasSubstr("'b/index.htm' on here has its name")));
}

TEST(TwinDonors, TheSameDonorTwiceChangesNothing) {
  const std::string content = blocks(30, 1);
  TwinBox here("here"), there("there");
  here.damaged("a", content, {{10, 16}});
  there.whole("a", content);
  const auto twins = find_twins(here.ready(), {&there.ready(), &there});
  EXPECT_EQ(twin_of(*twins, here, "a").outcome, TwinOutcome::kWhole);
  EXPECT_THAT(twins->of(here.id("a"))->donors, SizeIs(1));
}

TEST(TwinDonors, AnotherImageOfThisDiscWithoutAMapIsDoubtful) {
  // What a drive filled its own bad sectors with is no evidence.
  const std::string content = blocks(30, 1);
  TwinBox here("disc.iso");
  here.damaged("a", content, {{10, 16}});
  here.ready();
  PullBox again;
  again.file("a", content, 0, date(kMoment));
  again.open(MemoryImage(again.memory().bytes()).open("disc.iso"));
  auto search = TwinSearch::start(here.disc(), here.verdicts());
  ASSERT_TRUE(search.ok());
  ASSERT_TRUE((*search)->look_at(again.disc(), "again").ok());
  const auto twins = (*search)->finish();
  const TwinFile f = twin_of(*twins, here, "a");
  EXPECT_EQ(f.outcome, TwinOutcome::kDoubtful);
  EXPECT_THAT(f.doubts, ElementsAre(HasSubstr("another image of this disc, and no map")));
}

TEST(TwinDonors, ADonorWithoutAMapGivesItsBasis) {
  const std::string content = blocks(30, 1);
  TwinBox here("here");
  here.damaged("a", content, {{10, 16}});
  here.ready();
  PullBox there;
  there.file("x", blocks(3, 9));
  there.file("a", content, 0, date(kMoment));
  there.open(MemoryImage(there.memory().bytes()).open("there"));
  auto search = TwinSearch::start(here.disc(), here.verdicts());
  ASSERT_TRUE((*search)->look_at(there.disc(), "there").ok());
  const auto twins = (*search)->finish();
  ASSERT_NE(twins->of(here.id("a")), nullptr);
  EXPECT_EQ(twins->of(here.id("a"))->state, FileState::kWhole);
  EXPECT_EQ(twins->of(here.id("a"))->basis, Basis::kAssumed);
}

TEST(TwinDonors, FillInADonorWithoutAMapIsNotGiven) {
  const std::string content = blocks(30, 1);
  std::string filled = content;
  filled.replace(12 * kBlock, kBlock, kBlock, '\0');
  TwinBox here("here");
  here.damaged("a", content, {{10, 16}});
  here.ready();
  PullBox there;
  there.file("x", blocks(3, 9));
  there.file("a", filled, 0, date(kMoment));
  there.open(MemoryImage(there.memory().bytes()).open("there"));
  auto search = TwinSearch::start(here.disc(), here.verdicts());
  ASSERT_TRUE((*search)->look_at(there.disc(), "there").ok());
  const auto twins = (*search)->finish();
  EXPECT_EQ(twin_of(*twins, here, "a").outcome, TwinOutcome::kPartly);
  EXPECT_EQ(twin_of(*twins, here, "a").found_bytes, 5 * kBlock);
}

/// A donor's file whose place is in doubt.
TEST(TwinDonors, AFileThatSharesItsSectorsThereIsACandidateOnly) {
  const std::string content = blocks(30, 1);
  TwinBox here("here");
  here.damaged("a", content, {{10, 16}});
  here.ready();
  const auto image = MemoryImage(std::vector<std::uint8_t>(content.begin(), content.end())).with_map().open("there");
  HandDisc hand(*image);
  Node n;
  n.size = content.size();
  n.modified = date(kMoment);
  n.view = View::kRockRidge;
  hand.node("a", n, {at_lba(0, content.size())});
  hand.file("b", 10, 2048);
  auto search = TwinSearch::start(here.disc(), here.verdicts());
  ASSERT_TRUE((*search)->look_at(hand.finish(), "there").ok());
  const auto twins = (*search)->finish();
  const TwinFile f = twin_of(*twins, here, "a");
  EXPECT_EQ(f.outcome, TwinOutcome::kCandidates);
  EXPECT_EQ(f.candidates.at(0).kind, TwinCandidate::Kind::kDoubtfulThere);
}

TEST(TwinDonors, DoubtsAboutThePlaceHereStay) {
  const std::string content = blocks(30, 1);
  TwinBox there("there");
  there.whole("a", content);
  there.ready();
  MemoryImage bytes(std::vector<std::uint8_t>(content.begin(), content.end()));
  const auto image = bytes.mark(10, 2, SectorState::kBad).open("here");
  HandDisc hand(*image);
  Node n;
  n.size = content.size();
  n.modified = date(kMoment);
  n.view = View::kRockRidge;
  hand.node("a", n, {at_lba(0, content.size())});
  hand.file("b", 20, 2048);
  const Disc& disc = hand.finish();
  const auto verdicts = judge(disc);
  auto search = TwinSearch::start(disc, *verdicts);
  ASSERT_TRUE((*search)->look_at(there.disc(), "there").ok());
  const auto twins = (*search)->finish();
  ASSERT_NE(twins->of(hand.id("a")), nullptr);
  EXPECT_EQ(twins->of(hand.id("a"))->state, FileState::kDoubtful);
  EXPECT_THAT(twins->of(hand.id("a"))->doubts, ElementsAre(HasSubstr("shares sectors")));
}

TEST(TwinDonors, AnUnlocatedFileHasCandidatesOnly) {
  TwinBox there("there");
  there.whole("a", blocks(30, 1));
  there.ready();
  const auto image = MemoryImage(numbered_sectors(10)).with_map().open("here");
  HandDisc hand(*image);
  Node n;
  n.size = 30 * kBlock;
  n.modified = date(kMoment);
  n.view = View::kRockRidge;
  n.flags = node_flag::kUnlocated;
  hand.node("a", n);
  const Disc& disc = hand.finish();
  const auto verdicts = judge(disc);
  auto search = TwinSearch::start(disc, *verdicts);
  ASSERT_TRUE((*search)->look_at(there.disc(), "there").ok());
  const auto twins = (*search)->finish();
  ASSERT_THAT(twins->files(), SizeIs(1));
  EXPECT_EQ(twins->files()[0].outcome, TwinOutcome::kCandidates);
}

TEST(TwinDonors, HugeSizesAreNotReadThrough) {
  // A file that claims 4 TiB of which 30 blocks are here, and a donor that claims the same with zeros never recorded.
  constexpr std::uint64_t kHuge = std::uint64_t{4} << 40;
  const std::string content = blocks(30, 1);
  std::vector<std::uint8_t> bytes(content.begin(), content.end());
  const auto image = MemoryImage(bytes).with_map().open("here");
  const auto other = MemoryImage(bytes).with_map().open("there");
  HandDisc here(*image), there(*other);
  Node n;
  n.size = kHuge;
  n.modified = date(kMoment);
  n.view = View::kRockRidge;
  here.node("a", n, {at_lba(0, kHuge)});
  there.node("a", n, {at_lba(0, content.size()), Extent{kZeros, kHuge - content.size(), 0, 0}});
  const Disc& disc = here.finish();
  const auto verdicts = judge(disc);
  auto search = TwinSearch::start(disc, *verdicts);
  ASSERT_TRUE((*search)->look_at(there.finish(), "there").ok());
  const auto twins = (*search)->finish();
  ASSERT_THAT(twins->files(), SizeIs(1));
  EXPECT_FALSE(twins->files()[0].completion);
  EXPECT_TRUE(twins->donors().at(1).incomplete);
}

TEST(TwinDonors, ThousandsOfFilesOfOneSizeAndOneBeginning) {
  // Every file of the donor begins like every file that needs help: nothing but comparing tells them apart.
  const std::string head = blocks(1, 1);
  TwinBox here("here"), there("there");
  constexpr unsigned kFiles = 300;
  for (unsigned i = 0; i < kFiles; ++i) {
    const std::string content = head + blocks(7, 100 + i);
    here.damaged(numbered("f", i), content, {{5, 6}});
    there.whole(numbered("f", i), content);
  }
  const auto twins = find_twins(here.ready(), {&there.ready()});
  EXPECT_TRUE(std::all_of(twins->files().begin(), twins->files().end(),
                          [](const TwinFile& f) { return f.outcome == TwinOutcome::kWhole; }));
  EXPECT_THAT(twins->files(), SizeIs(kFiles));
}

TEST(TwinDonors, CancellingStops) {
  const std::string content = blocks(30, 1);
  TwinBox here("here"), there("there");
  here.damaged("a", content, {{10, 16}});
  there.whole("a", content);
  here.ready(), there.ready();
  bool go_on = true;
  TwinOptions options;
  options.progress = [&](const Progress&) { return go_on; };
  auto search = TwinSearch::start(here.disc(), here.verdicts(), options);
  ASSERT_TRUE(search.ok());
  go_on = false;
  const auto looked = (*search)->look_at(there.disc(), "there");
  ASSERT_FALSE(looked.ok());
  EXPECT_EQ(looked.error().code, ErrorCode::kCancelled);
}

TEST(TwinDonors, ASpoolWithoutAFolderIsAnError) {
  const std::string content = blocks(30, 1);
  TwinBox here("here"), there("there");
  here.damaged("a", content, {{10, 16}});
  there.whole("a", content);
  here.ready(), there.ready();
  TwinOptions options;
  options.spool_folder = here.scratch() / "no such folder";
  auto search = TwinSearch::start(here.disc(), here.verdicts(), options);
  const auto looked = (*search)->look_at(there.disc(), "there");
  ASSERT_FALSE(looked.ok());
  EXPECT_EQ(looked.error().code, ErrorCode::kCannotWrite);
  EXPECT_THAT(looked.error().message, HasSubstr("no such folder"));
}

TEST(TwinDonors, AnImageOfTheAuthoringKindFromEndToEnd) {
  // ISO 9660 images built by the standard: names in 8.3 here, and in Joliet there.
  const std::string content = blocks(30, 4);
  const IsoImage mine = build_iso(iso_directory("", {iso_file("HARBOUR.JPG;1", content)}));
  IsoNode renamed = iso_file("HARBOUR.JPG;1", content);
  renamed.joliet_id = ucs2("Harbour.jpg");
  IsoOptions joliet;
  joliet.joliet_escape = "%/E";
  joliet.volume_id = "OTHER";
  IsoImage other = build_iso(iso_directory("", {iso_file("A.TXT;1", blocks(2, 8)), renamed}), joliet);
  const auto here =
      MemoryImage(mine.bytes).mark(mine.primary.at("HARBOUR.JPG;1").extent / 2048 + 9, 4, SectorState::kBad).open();
  const auto there = MemoryImage(other.bytes).with_map().open();
  const auto disc = open_disc(*here), donor = open_disc(*there);
  ASSERT_TRUE(disc.ok() && donor.ok());
  const auto verdicts = judge(**disc);
  auto search = TwinSearch::start(**disc, *verdicts);
  ASSERT_TRUE((*search)->look_at(**donor, "there").ok());
  const auto twins = (*search)->finish();
  ASSERT_THAT(twins->files(), SizeIs(1));
  EXPECT_EQ(twins->files()[0].outcome, TwinOutcome::kWhole) << ::testing::PrintToString(twins->files()[0].doubts);
  EXPECT_EQ(twins->donors().at(1).volume_id, "OTHER");
}

}  // namespace
}  // namespace lacuna::test
