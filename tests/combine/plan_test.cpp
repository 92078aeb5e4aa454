// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/plan.h"

#include <gtest/gtest.h>

#include <memory>
#include <string>

#include "salvage/hand_disc.h"
#include "support/memory_image.h"

namespace lacuna::test {
namespace {

using Strings = std::vector<std::string>;

/// A disc of so many sectors, to be hurt and filled, then planned for.
class PlanBox {
 public:
  explicit PlanBox(std::uint64_t sectors, std::uint64_t first_lba = 0)
      : memory_(numbered_sectors(sectors, first_lba), first_lba) {
    memory_.with_map();
  }
  PlanBox& bad(std::uint64_t first, std::uint64_t count, SectorState state = SectorState::kBad) {
    memory_.mark(first, count, state);
    return *this;
  }
  HandDisc& disc() {
    if (!hand_) {
      image_ = memory_.open();
      hand_ = std::make_unique<HandDisc>(*image_);
    }
    return *hand_;
  }
  /// A medium of one sector a block unless told otherwise, so that sectors count singly.
  const Plan& plan(PlanOptions options = {}) {
    if (options.medium == Medium::kAuto && !guess_) options.medium = Medium::kCd;
    hand_->finish();
    Result<Verdicts> judged = judge(hand_->disc(), {false, 1, {}});
    EXPECT_TRUE(judged.ok());
    verdicts_ = std::make_unique<Verdicts>(std::move(judged).value());
    return again(options);
  }
  const Plan& again(PlanOptions options) {
    if (options.medium == Medium::kAuto && !guess_) options.medium = Medium::kCd;
    Result<Plan> made = make_plan(hand_->disc(), *verdicts_, options);
    EXPECT_TRUE(made.ok());
    plan_ = std::move(made).value();
    return plan_;
  }
  void let_guess() { guess_ = true; }

  /// Each step as "reason LBA+COUNT LBA+COUNT: names of files; structures", the step's totals left out.
  Strings steps() const {
    Strings all;
    for (const PlanStep& s : plan_.steps) {
      std::string text(to_string(s.reason));
      for (const Range& r : plan_.ranges_of(s)) {
        text += numbered(" ", r.first);
        text += numbered("+", r.length());
      }
      text += ":";
      for (const NodeId id : plan_.files_of(s)) text.append(" ").append(hand_->disc().tree().path(id));
      for (const PlanStructure& p : plan_.structures_of(s)) {
        text.append(" #").append(to_string(p.structure.kind)).append(numbered("*", p.names));
      }
      all.push_back(text);
    }
    return all;
  }
  const Disc& finished() const { return hand_->disc(); }

 private:
  MemoryImage memory_;
  std::unique_ptr<Image> image_;
  std::unique_ptr<HandDisc> hand_;
  std::unique_ptr<Verdicts> verdicts_;
  Plan plan_;
  bool guess_ = false;
};

LostDirectory lost_directory(NodeId node, std::uint64_t lba, std::uint64_t sectors, std::uint64_t missing) {
  LostDirectory lost;
  lost.node = node;
  lost.position = lba * kSectorBytes;
  lost.bytes = sectors * kSectorBytes;
  lost.missing_lbas.add({lba, lba + missing});
  return lost;
}

TEST(Plan, ADiscWithoutDamageHasNone) {
  PlanBox box(40);
  box.disc().file("a", 20, 4096);
  const Plan& plan = box.plan();
  EXPECT_TRUE(plan.steps.empty());
  EXPECT_EQ(plan.sectors_not_good, 0U);
  EXPECT_EQ(plan.totals().sectors, 0U);
}

TEST(Plan, FilesByWhatCompletingThemCostsWithRunningTotals) {
  PlanBox box(100);
  box.bad(20, 3).bad(31, 1).bad(52, 2);
  box.disc().file("three", 20, 5 * 2048);
  box.disc().file("one", 30, 3000);
  box.disc().file("two", 50, 4 * 2048);
  const Plan& plan = box.plan();
  EXPECT_EQ(box.steps(), (Strings{"file 31+1: one", "file 52+2: two", "file 20+3: three"}));
  EXPECT_EQ(plan.steps[0].so_far.sectors, 1U);
  EXPECT_EQ(plan.steps[1].so_far.files_whole, 2U);
  EXPECT_EQ(plan.steps[1].so_far.bytes_whole, 3000U + 4 * 2048);
  EXPECT_EQ(plan.totals().sectors, 6U);
  EXPECT_EQ(plan.totals().files_whole, 3U);
  EXPECT_EQ(plan.sectors_not_good, 6U);
  EXPECT_EQ(plan.left.sectors_idle, 0U);
}

TEST(Plan, OneFileUnderTwoNamesIsReadOnceAndCountsTwice) {
  PlanBox box(100);
  box.bad(20, 3).bad(40, 2);
  box.disc().file("name", 20, 3 * 2048);
  box.disc().file("other name", 20, 3 * 2048);
  box.disc().file("single", 40, 2 * 2048);
  box.plan();
  EXPECT_EQ(box.steps(), (Strings{"file 20+3: name other name", "file 40+2: single"}));
}

TEST(Plan, FilesThatShareABlockAreReadTogether) {
  // Blocks 2 (32 to 47) and 4: the block with two files comes first, and the files' other sectors cost nothing.
  PlanBox box(100);
  box.bad(33, 1).bad(40, 2).bad(70, 1);
  box.disc().file("lone", 70, 2048);
  box.disc().file("a", 33, 2048);
  box.disc().file("b", 39, 4 * 2048);
  PlanOptions options;
  options.medium = Medium::kDvd;
  const Plan& plan = box.plan(options);
  EXPECT_EQ(box.steps(), (Strings{"file 32+16: a b", "file 64+16: lone"}));
  EXPECT_EQ(plan.totals().sectors, 32U);
  EXPECT_EQ(plan.block_sectors, 16U);
}

TEST(Plan, BlocksEndWhereTheDiscDoes) {
  PlanBox box(70);
  box.bad(69, 1);
  box.disc().file("a", 69, 2048);
  PlanOptions options;
  options.medium = Medium::kBd;
  box.plan(options);
  EXPECT_EQ(box.steps(), (Strings{"file 64+6: a"}));
}

TEST(Plan, AnImageThatStartsLateIsRoundedBeforeItsStart) {
  PlanBox box(70, 20);
  box.bad(21, 1);
  box.disc().file("a", 21, 2048);
  PlanOptions options;
  options.medium = Medium::kDvd;
  box.plan(options);
  EXPECT_EQ(box.steps(), (Strings{"file 16+16: a"}));
}

TEST(Plan, WantedFilesComeFirstWhateverTheyCost) {
  PlanBox box(100);
  box.bad(20, 3).bad(30, 1).bad(40, 2);
  box.disc().file("cheap.txt", 30, 2048);
  box.disc().file("dear.JPG", 20, 3 * 2048);
  box.disc().file("named.bin", 40, 2 * 2048);
  PlanOptions options;
  options.want_kinds = {FileKind::kPhotos};
  options.want = GlobSet({"named*"}, false);
  box.plan(options);
  EXPECT_EQ(box.steps(), (Strings{"wanted 40+2: named.bin", "wanted 20+3: dear.JPG", "file 30+1: cheap.txt"}));
}

TEST(Plan, SkippedFilesAreLeftOutAndTheirSectorsAreIdle) {
  PlanBox box(100);
  box.bad(20, 3).bad(30, 1);
  box.disc().file("a.exe", 20, 3 * 2048);
  box.disc().file("b", 30, 2048);
  PlanOptions options;
  options.skip = GlobSet({"*.exe"}, false);
  const Plan& plan = box.plan(options);
  EXPECT_EQ(box.steps(), (Strings{"file 30+1: b"}));
  EXPECT_EQ(plan.left.files_skipped, 1U);
  EXPECT_EQ(plan.left.sectors_idle, 3U);
  options.all = true;
  box.again(options);
  EXPECT_EQ(box.steps(), (Strings{"file 30+1: b", "rest 20+3:"}));
}

TEST(Plan, ABudgetPassesOverWhatDoesNotFit) {
  PlanBox box(100);
  box.bad(20, 1).bad(30, 3).bad(40, 4).bad(60, 1);
  box.disc().file("one", 20, 2048);
  box.disc().file("three", 30, 3 * 2048);
  box.disc().file("four", 40, 4 * 2048);
  PlanOptions options;
  options.budget_sectors = 5;
  const Plan& plan = box.plan(options);
  EXPECT_EQ(box.steps(), (Strings{"file 20+1: one", "file 30+3: three"}));
  EXPECT_EQ(plan.left.files_over_budget, 1U);
  options.all = true;
  box.again(options);
  EXPECT_EQ(box.steps(), (Strings{"file 20+1: one", "file 30+3: three", "rest 40+1:"})) << "the rest is cut";
  options.budget_sectors = 0;
  const Result<Verdicts> v = judge(box.finished(), {false, 1, {}});
  EXPECT_FALSE(make_plan(box.finished(), *v, options).ok());
}

TEST(Plan, SuspectUnreadAndCutSectorsCountLikeBadOnes) {
  PlanBox box(60);
  box.bad(20, 1, SectorState::kSuspect).bad(30, 1, SectorState::kUnread).bad(40, 1, SectorState::kRepaired);
  box.disc().file("suspect", 20, 2048);
  box.disc().file("unread", 30, 2048);
  box.disc().file("repaired", 40, 2048);
  box.disc().file("cut", 59, 3 * 2048);
  const Plan& plan = box.plan();
  EXPECT_EQ(box.steps(), (Strings{"file 30+1: unread", "file 20+1: suspect", "file 60+2: cut"}));
  EXPECT_EQ(plan.sectors_not_good, 4U);
}

TEST(Plan, WhatNoSectorWouldCompleteIsNotPlanned) {
  PlanBox box(60);
  box.bad(20, 1).bad(30, 1);
  HandDisc& disc = box.disc();
  disc.file("unlocated", 5000, {}, node_flag::kUnlocated);
  disc.file("nowhere", 4096, {at_lba(20, 2048), {kNowhere, 2048, 0, 0}});
  disc.file("short", 4096, {at_lba(30, 2048)});
  disc.file("far", std::uint64_t{1} << 40, 2048);
  const Plan& plan = box.plan();
  EXPECT_TRUE(box.steps().empty());
  EXPECT_EQ(plan.left.files_unplaced, 3U);
  EXPECT_EQ(plan.left.files_outside, 1U);
  EXPECT_EQ(plan.left.sectors_idle, 2U);
}

TEST(Plan, AFileThatStaysDoubtfulCountsHalfAndIsNeverCalledWhole) {
  PlanBox box(100);
  box.bad(20, 1).bad(30, 1);
  const NodeId doubted = box.disc().file("a doubted", 20, 2048);
  box.disc().file("sure", 30, 2048);
  box.disc().tree().add_doubt(doubted, "two views disagree on its place");
  const Plan& plan = box.plan();
  EXPECT_EQ(box.steps(), (Strings{"file 30+1: sure", "file 20+1: a doubted"}));
  EXPECT_EQ(plan.totals().files_whole, 1U);
  EXPECT_EQ(plan.totals().files_doubtful, 1U);
  EXPECT_EQ(plan.totals().bytes_whole, 2048U);
}

TEST(Plan, SparseFilesNeedOnlyWhatWasRecorded) {
  PlanBox box(100);
  box.bad(20, 1);
  box.disc().file("sparse", std::uint64_t{1} << 40,
                  {at_lba(20, 2048), {kZeros, (std::uint64_t{1} << 40) - 2048, 0, 0}});
  box.plan();
  EXPECT_EQ(box.steps(), (Strings{"file 20+1: sparse"}));
}

TEST(Plan, InterleavedFilesNeedTheirOwnUnits) {
  PlanBox box(100);
  box.bad(20, 10);
  box.disc().file("even", 3 * 2048, {{20 * kSectorBytes, 3 * 2048, 2048, 2048}});
  const Plan& plan = box.plan();
  EXPECT_EQ(box.steps(), (Strings{"file 20+1 22+1 24+1: even"}));
  EXPECT_EQ(plan.left.sectors_idle, 7U);
}

TEST(PlanStructures, ALostDirectoryComesFirstByWhatItWouldName) {
  PlanBox box(200);
  box.bad(50, 1).bad(60, 4).bad(70, 1);
  HandDisc& hand = box.disc();
  const NodeId small = hand.directory("small", node_flag::kUnread);
  const NodeId large = hand.directory("large", node_flag::kUnread);
  hand.file("a", 70, 2048);
  hand.builder().lost_directories().push_back(lost_directory(small, 50, 1, 1));
  hand.builder().lost_directories().push_back(lost_directory(large, 60, 4, 4));
  const Plan& plan = box.plan();
  // Nothing else tells how full directories are: 20 names a sector. Equal densities: in the order of the disc.
  EXPECT_EQ(box.steps(), (Strings{"structure 50+1: #directory*20", "structure 60+4: #directory*80", "file 70+1: a"}));
  EXPECT_TRUE(plan.steps[0].is_structure());
  EXPECT_EQ(plan.totals().names, 100U);
}

TEST(PlanStructures, ADirectoryKnownFromElsewhereIsWorthNothing) {
  PlanBox box(200);
  box.bad(50, 1);
  HandDisc& hand = box.disc();
  const NodeId known = hand.directory("known", 0);
  hand.builder().lost_directories().push_back(lost_directory(known, 50, 1, 1));
  const Plan& plan = box.plan();
  EXPECT_TRUE(box.steps().empty());
  EXPECT_EQ(plan.left.structures_known, 1U);
  EXPECT_EQ(plan.left.sectors_idle, 1U);
}

TEST(PlanStructures, WhatIsKnownOfADirectoryIsSubtracted) {
  PlanBox box(200);
  box.bad(50, 1);
  HandDisc& hand = box.disc();
  const NodeId part = hand.directory("part", node_flag::kIncomplete);
  for (int i = 0; i < 35; ++i) {
    Node n;
    hand.node(numbered("f", static_cast<std::uint64_t>(i)), n, {}, part);
  }
  hand.builder().lost_directories().push_back(lost_directory(part, 50, 2, 1));
  box.plan();
  EXPECT_EQ(box.steps(), (Strings{"structure 50+1: #directory*5"})) << "two sectors of 20, less 35";
}

TEST(PlanStructures, TheSecondViewOfALostDirectoryRanksLow) {
  PlanBox box(200);
  box.bad(50, 1).bad(60, 2);
  HandDisc& hand = box.disc();
  const NodeId lost = hand.directory("lost", node_flag::kUnread);
  LostDirectory joliet = lost_directory(lost, 60, 2, 2);
  joliet.view = View::kJoliet;
  hand.builder().lost_directories().push_back(joliet);
  hand.builder().lost_directories().push_back(lost_directory(lost, 50, 1, 1));
  box.plan();
  EXPECT_EQ(box.steps(), (Strings{"structure 50+1: #directory*20", "structure 60+2: #directory*1"}));
}

TEST(PlanStructures, ALostFileEntryPlacesItsFileAndAPathTableWithATwinNothing) {
  PlanBox box(200);
  box.bad(50, 1).bad(60, 1);
  HandDisc& hand = box.disc();
  const NodeId file = hand.file("unlocated", 5000, {}, node_flag::kUnlocated);
  hand.builder().structures().push_back({StructureKind::kFileEntry, View::kUdf, 50 * 2048, 2048, file, {}});
  hand.structure(StructureKind::kPathTable, 60, 2048, "path table L");
  hand.structure(StructureKind::kPathTable, 61, 2048, "path table M");
  const Plan& plan = box.plan();
  EXPECT_EQ(box.steps(), (Strings{"structure 50+1: #file entry*1"}));
  EXPECT_EQ(plan.left.structures_known, 1U);
}

TEST(PlanStructures, AStepForAStructureAlsoCompletesTheFilesOfItsBlock) {
  PlanBox box(200);
  box.bad(50, 2);
  HandDisc& hand = box.disc();
  const NodeId lost = hand.directory("lost", node_flag::kUnread);
  hand.builder().lost_directories().push_back(lost_directory(lost, 50, 1, 1));
  hand.file("a", 51, 2048);
  PlanOptions options;
  options.medium = Medium::kDvd;
  const Plan& plan = box.plan(options);
  EXPECT_EQ(box.steps(), (Strings{"structure 48+16: a #directory*20"}));
  EXPECT_EQ(plan.totals().files_whole, 1U);
}

TEST(PlanMedium, IsGuessedBySizeAndSaysWhy) {
  PlanBox box(100);
  box.let_guess();
  box.bad(20, 1);
  box.disc().file("a", 20, 2048);
  Session session;
  session.in_tree = true;
  Volume volume;
  volume.space_bytes = std::uint64_t{2'000'000} * kSectorBytes;
  session.volumes.push_back(volume);
  box.disc().builder().sessions().push_back(session);
  const Plan& plan = box.plan();
  EXPECT_EQ(plan.medium, Medium::kDvd);
  EXPECT_EQ(plan.medium_why, "its 2,000,000 sectors fit on a DVD");
}

TEST(PlanMedium, AUdfVolumeTellsWhatItWasWrittenFor) {
  PlanBox box(100);
  box.disc().file("a", 20, 2048);
  Session session;
  session.in_tree = true;
  Volume volume;
  volume.view = View::kUdf;
  volume.udf.emplace();
  volume.udf->medium = "BD-R, written in packets";
  session.volumes.push_back(volume);
  box.disc().builder().sessions().push_back(session);
  box.plan();
  EXPECT_EQ(guess_medium(box.finished()).medium, Medium::kBd);
}

TEST(PlanMedium, ALyingVolumeSizeIsPassedOver) {
  PlanBox box(100);
  box.disc().file("a", 20, 2048);
  Session session;
  session.in_tree = true;
  Volume volume;
  volume.space_bytes = ~std::uint64_t{0};
  session.volumes.push_back(volume);
  box.disc().builder().sessions().push_back(session);
  box.plan();
  EXPECT_EQ(guess_medium(box.finished()).medium, Medium::kCd);
}

TEST(PlanHostile, ManyFilesOverTheSameDamageStayBounded) {
  constexpr std::uint64_t kCount = 5'000;
  PlanBox box(kCount);
  for (std::uint64_t lba = 0; lba < kCount; lba += 2) box.bad(lba, 1);
  for (std::uint64_t i = 0; i < kCount; ++i) box.disc().file(std::to_string(i), i, (kCount - i) * kSectorBytes);
  const Plan& plan = box.plan();
  EXPECT_GT(plan.left.files_tangled, 0U);
  EXPECT_LE(plan.totals().sectors, kCount);
  EXPECT_EQ(plan.files.size() + plan.left.files_tangled, kCount - 1) << "the last one lies on a good sector";
}

TEST(PlanHostile, AFileOfTheLargestSizeIsOutsideAndALostDirectoryOfTheLargestSizeToo) {
  PlanBox box(100);
  HandDisc& hand = box.disc();
  hand.file("huge", 50, ~std::uint64_t{0});
  const NodeId lost = hand.directory("lost", node_flag::kUnread);
  LostDirectory d = lost_directory(lost, 90, 1, 1);
  d.bytes = ~std::uint64_t{0};
  d.missing_lbas = RangeSet::from_unsorted({{90, ~std::uint64_t{0} / kSectorBytes}});
  hand.builder().lost_directories().push_back(d);
  const Plan& plan = box.plan();
  EXPECT_EQ(plan.left.files_outside, 1U);
  for (const Range& r : plan.ranges) EXPECT_LE(r.end, 449'849U) << "no sector that a CD does not have";
}

TEST(PlanHostile, ATreeOfNothing) {
  PlanBox box(10);
  box.bad(0, 10);
  box.disc();
  PlanOptions options;
  options.all = true;
  const Plan& plan = box.plan(options);
  EXPECT_EQ(box.steps(), (Strings{"rest 0+10:"}));
  EXPECT_EQ(plan.totals().files_whole, 0U);
}

TEST(FileKind, ByExtensionInAnyCaseAndBehindAVersion) {
  EXPECT_EQ(file_kind("IMG_0001.JPG"), FileKind::kPhotos);
  EXPECT_EQ(file_kind("a.b/CLIP.AVI;1"), FileKind::kVideo);
  EXPECT_EQ(file_kind("song.mp3 ."), FileKind::kAudio);
  EXPECT_EQ(file_kind("letter.doc"), FileKind::kDocuments);
  EXPECT_EQ(file_kind("jpg"), FileKind::kOther);
  EXPECT_EQ(file_kind("photos.jpg/readme"), FileKind::kOther);
  EXPECT_EQ(file_kind(""), FileKind::kOther);
  EXPECT_EQ(file_kind_from("video"), FileKind::kVideo);
  EXPECT_FALSE(file_kind_from("videos"));
}

}  // namespace
}  // namespace lacuna::test
