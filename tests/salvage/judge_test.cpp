// SPDX-License-Identifier: GPL-3.0-or-later
// Each rule of judging by name, on discs written by hand.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "lacuna/verdict.h"
#include "salvage/hand_disc.h"
#include "support/memory_image.h"

namespace lacuna {
namespace {

using test::at_lba;
using test::HandDisc;
using test::MemoryImage;
using test::numbered;
using test::numbered_sectors;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

Verdicts judged(const Disc& disc, unsigned threads = 1) {
  Result<Verdicts> v = judge(disc, {true, threads, {}});
  EXPECT_TRUE(v.ok());
  return std::move(v).value();
}

std::vector<Gap> gaps_of(const Verdicts& v, NodeId id) {
  const auto g = v.gaps(v.of(id));
  return {g.begin(), g.end()};
}

void fill(std::vector<std::uint8_t>& bytes, std::uint64_t lba, std::uint64_t sectors, std::uint8_t value) {
  std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(lba * kSectorBytes), sectors * kSectorBytes, value);
}

TEST(Judge, WithAMapNothingIsRead) {
  MemoryImage memory(numbered_sectors(40));
  memory.with_map().allow_only({});
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("a", 20, 5000);
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("a")).state, FileState::kWhole);
  EXPECT_EQ(v.of(hand.id("a")).basis, Basis::kMap);
  EXPECT_EQ(memory.log().sectors, 0U);
}

TEST(Judge, EachSectorStateHasItsConsequence) {
  MemoryImage memory(numbered_sectors(40));
  memory.mark(21, 1, SectorState::kRepaired)
      .mark(23, 1, SectorState::kSuspect)
      .mark(25, 1, SectorState::kBad)
      .mark(27, 1, SectorState::kUnread)
      .mark(29, 1, SectorState::kAbsent);
  const auto image = memory.open();
  HandDisc hand(*image);
  for (std::uint64_t lba = 20; lba <= 30; lba += 2) hand.file(numbered("f", lba), lba, 4096);
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("f20")).state, FileState::kWhole);
  EXPECT_THAT(gaps_of(v, hand.id("f20")), IsEmpty());
  EXPECT_EQ(v.of(hand.id("f22")).state, FileState::kDoubtful);
  EXPECT_THAT(gaps_of(v, hand.id("f22")), ElementsAre(Gap{2048, 2048, SectorState::kSuspect}));
  EXPECT_EQ(v.of(hand.id("f22")).suspect_bytes, 2048U);
  EXPECT_EQ(v.of(hand.id("f22")).missing_bytes, 0U);
  EXPECT_THAT(gaps_of(v, hand.id("f24")), ElementsAre(Gap{2048, 2048, SectorState::kBad}));
  EXPECT_THAT(gaps_of(v, hand.id("f26")), ElementsAre(Gap{2048, 2048, SectorState::kUnread}));
  EXPECT_THAT(gaps_of(v, hand.id("f28")), ElementsAre(Gap{2048, 2048, SectorState::kAbsent}));
  for (const char* name : {"f24", "f26", "f28"}) EXPECT_EQ(v.of(hand.id(name)).state, FileState::kDamaged) << name;
  EXPECT_EQ(v.of(hand.id("f30")).state, FileState::kWhole);

  EXPECT_EQ(v.counts()[static_cast<std::size_t>(FileState::kWhole)].files, 2U);
  EXPECT_EQ(v.counts()[static_cast<std::size_t>(FileState::kDamaged)].files, 3U);
  EXPECT_EQ(v.counts()[static_cast<std::size_t>(FileState::kDamaged)].bytes, 3 * 4096U);
  EXPECT_EQ(v.counts()[static_cast<std::size_t>(FileState::kDamaged)].missing_bytes, 3 * 2048U);
}

TEST(Judge, GapsStopAtTheFilesOwnBytes) {
  MemoryImage memory(numbered_sectors(40));
  memory.mark(20, 3, SectorState::kBad);
  const auto image = memory.open();
  HandDisc hand(*image);
  // Logical blocks of 512 bytes: files need not start at a sector.
  hand.file("before", 700, {{19 * kSectorBytes + 1536, 700, 0, 0}});
  hand.file("within", 100, {{21 * kSectorBytes + 512, 100, 0, 0}});
  hand.file("behind", 4000, {{22 * kSectorBytes + 1024, 4000, 0, 0}});
  const Verdicts v = judged(hand.finish());
  EXPECT_THAT(gaps_of(v, hand.id("before")), ElementsAre(Gap{512, 188, SectorState::kBad}));
  EXPECT_EQ(v.of(hand.id("within")).state, FileState::kLost);
  EXPECT_THAT(gaps_of(v, hand.id("within")), ElementsAre(Gap{0, 100, SectorState::kBad}));
  EXPECT_THAT(gaps_of(v, hand.id("behind")), ElementsAre(Gap{0, 1024, SectorState::kBad}));
}

TEST(Judge, ACutImageIsGoodUpToItsLastByte) {
  std::vector<std::uint8_t> bytes = numbered_sectors(30);
  bytes.resize(29 * kSectorBytes + 777);
  MemoryImage memory(bytes);
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("fits", 29, 777);
  hand.file("over", 28, 2 * kSectorBytes + 777 + 1);
  hand.tree().edit(hand.file("one more", 29, 778)).flags = node_flag::kBoot;  // boot: free to share
  hand.file("beyond", 40, 5000);
  hand.file("far beyond", kMaxSectors * 2, 5000);
  const Verdicts v = judged(hand.finish());
  EXPECT_THAT(gaps_of(v, hand.id("fits")), IsEmpty());
  EXPECT_THAT(gaps_of(v, hand.id("one more")), ElementsAre(Gap{777, 1, SectorState::kAbsent}));
  EXPECT_EQ(v.of(hand.id("one more")).state, FileState::kDamaged);
  EXPECT_THAT(gaps_of(v, hand.id("over")), ElementsAre(Gap{2048 + 777, 2049, SectorState::kAbsent}));
  EXPECT_EQ(v.of(hand.id("beyond")).state, FileState::kLost);
  EXPECT_EQ(v.of(hand.id("far beyond")).state, FileState::kLost);
}

TEST(Judge, AnImageThatStartsLateLacksWhatIsBefore) {
  MemoryImage memory(numbered_sectors(30), 100);
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("before", 16, 50 * kSectorBytes);
  hand.file("across", 98, 5 * kSectorBytes);
  hand.file("in", 110, 5 * kSectorBytes);
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("before")).state, FileState::kLost);
  EXPECT_THAT(gaps_of(v, hand.id("across")), ElementsAre(Gap{0, 4096, SectorState::kAbsent}));
  EXPECT_EQ(v.of(hand.id("in")).state, FileState::kWhole);
}

TEST(Judge, ExtentsShorterThanTheSizeAreNeverWhole) {
  MemoryImage memory(numbered_sectors(30));
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("short", 5000, {at_lba(20, 2048)});
  hand.file("none", 5000, std::vector<Extent>{});
  hand.file("long", 5000, {at_lba(22, 2048), at_lba(24, 4000)});
  const Verdicts v = judged(hand.finish());
  EXPECT_THAT(gaps_of(v, hand.id("short")), ElementsAre(Gap{2048, 2952, SectorState::kAbsent}));
  EXPECT_EQ(v.of(hand.id("short")).state, FileState::kDamaged);
  EXPECT_EQ(v.of(hand.id("none")).state, FileState::kLost);
  EXPECT_EQ(v.of(hand.id("long")).state, FileState::kDoubtful);
  EXPECT_THAT(v.doubts(hand.disc(), hand.id("long")), ElementsAre(HasSubstr("more bytes than its size")));
}

TEST(Judge, UnlocatedEmptyAndSpecialNodes) {
  MemoryImage memory(numbered_sectors(30));
  memory.mark(0, 30, SectorState::kBad);
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("unlocated", 5000, std::vector<Extent>{}, node_flag::kUnlocated);
  hand.file("empty", 0, std::vector<Extent>{});
  hand.file("empty at a bad place", 20, 0);
  Node link;
  link.kind = NodeKind::kSymlink;
  hand.node("link", link);
  hand.tree().add_doubt(hand.node("doubted link", link), "part of its target is lost");
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("unlocated")).state, FileState::kUnlocated);
  EXPECT_EQ(v.of(hand.id("unlocated")).missing_bytes, 5000U);
  EXPECT_EQ(v.of(hand.id("empty")).state, FileState::kWhole);
  EXPECT_EQ(v.of(hand.id("empty at a bad place")).state, FileState::kWhole);
  EXPECT_EQ(v.of(hand.id("link")).state, FileState::kWhole);
  EXPECT_EQ(v.of(hand.id("doubted link")).state, FileState::kDoubtful);
}

TEST(Judge, DoubtsOfTheTreeMakeDoubtfulButDamageIsSaidFirst) {
  MemoryImage memory(numbered_sectors(30));
  memory.mark(25, 1, SectorState::kBad);
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.tree().add_doubt(hand.file("a", 20, 100), "both halves differ");
  hand.tree().add_doubt(hand.file("b", 24, 4096), "both halves differ");
  hand.file("c", 100, {at_lba(28, 100)}, node_flag::kSizeGuessed);
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("a")).state, FileState::kDoubtful);
  EXPECT_THAT(v.doubts(hand.disc(), hand.id("a")), ElementsAre("both halves differ"));
  EXPECT_EQ(v.of(hand.id("b")).state, FileState::kDamaged);
  EXPECT_EQ(v.of(hand.id("c")).state, FileState::kDoubtful);
  EXPECT_THAT(v.doubts(hand.disc(), hand.id("c")), ElementsAre(HasSubstr("does not record its size")));
}

TEST(Judge, DirectoriesAreWholeHurtOrLost) {
  MemoryImage memory(numbered_sectors(30));
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.directory("fine", 0);
  hand.directory("incomplete", node_flag::kIncomplete);
  hand.directory("lost", node_flag::kUnread);
  hand.directory("below", 0, hand.directory("known from elsewhere", node_flag::kUnread));
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("fine")).state, FileState::kWhole);
  EXPECT_EQ(v.of(hand.id("incomplete")).state, FileState::kDamaged);
  EXPECT_EQ(v.of(hand.id("lost")).state, FileState::kLost);
  EXPECT_EQ(v.of(hand.id("known from elsewhere")).state, FileState::kDamaged);
  EXPECT_EQ(v.hurt_directories(), 3U);
  for (const StateCount& c : v.counts()) EXPECT_EQ(c.files, 0U);
}

TEST(Judge, InterleavedFilesShareASpanButNoBytes) {
  MemoryImage memory(numbered_sectors(60));
  memory.mark(23, 1, SectorState::kBad);
  const auto image = memory.open();
  HandDisc hand(*image);
  // Units of two sectors with gaps of two (ECMA-119 6.4.3): one file in the other's gaps.
  hand.file("one", 8 * 2048, {{20 * kSectorBytes, 8 * 2048, 4096, 4096}});
  hand.file("two", 8 * 2048, {{22 * kSectorBytes, 8 * 2048, 4096, 4096}});
  hand.file("three", 10 * 2048, {{40 * kSectorBytes, 10 * 2048, 4096, 2048}});
  hand.file("in the way", 43, 4096);
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("one")).state, FileState::kWhole);
  EXPECT_THAT(gaps_of(v, hand.id("two")), ElementsAre(Gap{2048, 2048, SectorState::kBad}));
  EXPECT_EQ(v.of(hand.id("three")).state, FileState::kDoubtful);
  EXPECT_EQ(v.of(hand.id("in the way")).state, FileState::kDoubtful);
}

TEST(Judge, InterleavedExtentsBeyondTheImageAreNotWalked) {
  MemoryImage memory(numbered_sectors(60), 1U << 31);
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  const std::uint64_t start = (std::uint64_t{1} << 31) * kSectorBytes;
  // 2^33 and more pieces before and behind the image; only ten lie in it.
  hand.file("early", ~std::uint64_t{0} / 8, {{0, ~std::uint64_t{0} / 8, 512, 512}});
  hand.file("late", 1U << 20, {{start + 50 * kSectorBytes, 1U << 20, 1024, 1024}}, node_flag::kBoot);
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("early")).state, FileState::kDamaged);
  EXPECT_EQ(v.of(hand.id("early")).missing_bytes, ~std::uint64_t{0} / 8 - 60 * 1024);
  EXPECT_THAT(gaps_of(v, hand.id("late")), ElementsAre(Gap{10 * 1024, (1U << 20) - 10 * 1024, SectorState::kAbsent}));
}

// Overlaps.

TEST(JudgeOverlap, PartlySharedSectorsAreADoubtForBoth) {
  MemoryImage memory(numbered_sectors(60));
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("a", 20, 5 * 2048);
  hand.file("b", 24, 5 * 2048);
  hand.file("c", 29, 100);
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("a")).state, FileState::kDoubtful);
  EXPECT_THAT(v.doubts(hand.disc(), hand.id("a")), ElementsAre("shares sectors 24-24 with b"));
  EXPECT_THAT(v.doubts(hand.disc(), hand.id("b")), ElementsAre("shares sectors 24-24 with a"));
  EXPECT_EQ(v.of(hand.id("c")).state, FileState::kWhole);
}

TEST(JudgeOverlap, FilesOnTheSameBytesAreNoContradiction) {
  MemoryImage memory(numbered_sectors(60));
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("a", 20, 5000);
  hand.file("b", 20, 5000);
  hand.file("empty", 20, 0);
  hand.file("neighbour in the same sector", 100, {{22 * kSectorBytes + 1024, 100, 0, 0}});
  const Verdicts v = judged(hand.finish());
  for (const char* name : {"a", "b", "empty", "neighbour in the same sector"}) {
    EXPECT_EQ(v.of(hand.id(name)).state, FileState::kWhole) << name;
  }
}

TEST(JudgeOverlap, SameStartWithAnotherLengthDoubtsEveryFileThere) {
  MemoryImage memory(numbered_sectors(60));
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("a", 20, 5000);
  hand.file("b", 20, 5000);
  hand.file("c", 20, 5000);
  hand.file("longer", 20, 7000);
  // Its first section is the whole of "section": the two sizes can't both be right.
  hand.file("multi", 6000, {at_lba(30, 4096), at_lba(40, 1904)});
  hand.file("section", 30, 4096);
  const Verdicts v = judged(hand.finish());
  for (const char* name : {"a", "b", "c", "longer", "multi", "section"}) {
    EXPECT_EQ(v.of(hand.id(name)).state, FileState::kDoubtful) << name;
    EXPECT_THAT(v.doubts(hand.disc(), hand.id(name)), ElementsAre(HasSubstr("same extent with different lengths")))
        << name;
  }
}

TEST(JudgeOverlap, BootImagesMayShareAndTheirOwnExtentsMayNot) {
  MemoryImage memory(numbered_sectors(60));
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("a", 20, 5000);
  hand.file("boot", 2048, {at_lba(20, 2048)}, node_flag::kBoot);
  hand.file("self", 8192, {at_lba(30, 4096), at_lba(31, 4096)});
  hand.file("twice", 8192, {at_lba(40, 4096), at_lba(40, 4096)});
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("a")).state, FileState::kWhole);
  EXPECT_EQ(v.of(hand.id("boot")).state, FileState::kWhole);
  EXPECT_THAT(v.doubts(hand.disc(), hand.id("self")), ElementsAre("its own extents overlap, LBA 31"));
  EXPECT_THAT(v.doubts(hand.disc(), hand.id("twice")), ElementsAre("its own extents overlap, LBA 40-41"));
}

TEST(JudgeOverlap, StructuresAreNoPlaceForFilesButTheBootCatalogIs) {
  MemoryImage memory(numbered_sectors(60));
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.structure(StructureKind::kVolumeDescriptor, 16, 2048, "primary volume descriptor");
  hand.structure(StructureKind::kDirectory, 20, 4096);
  hand.structure(StructureKind::kBootCatalog, 30, 2048);
  hand.file("on the descriptor", 16, 100);
  hand.file("into the directory", 18, 3 * 2048);
  hand.file("catalog", 30, 2048);
  hand.file("free", 22, 4096);
  const Verdicts v = judged(hand.finish());
  EXPECT_THAT(v.doubts(hand.disc(), hand.id("on the descriptor")),
              ElementsAre("shares sectors 16-16 with a primary volume descriptor"));
  EXPECT_THAT(v.doubts(hand.disc(), hand.id("into the directory")),
              ElementsAre("shares sectors 20-20 with a directory"));
  EXPECT_EQ(v.of(hand.id("into the directory")).state, FileState::kDoubtful);
  EXPECT_EQ(v.of(hand.id("catalog")).state, FileState::kWhole);
  EXPECT_EQ(v.of(hand.id("free")).state, FileState::kWhole);
}

TEST(JudgeOverlap, ManyFilesOverManyGapsStayBounded) {
  // 20,000 files that each claim the same 20,000 sectors from another byte on, every second sector bad: 2 * 10^8 gaps.
  constexpr std::uint64_t kCount = 20'000;
  MemoryImage memory(std::vector<std::uint8_t>(kCount * kSectorBytes));
  for (std::uint64_t lba = 0; lba < kCount; lba += 2) memory.mark(lba, 1, SectorState::kBad);
  const auto image = memory.open();
  HandDisc hand(*image);
  for (std::uint64_t i = 0; i < kCount; ++i) {
    hand.file(std::to_string(i), kCount * kSectorBytes - i, {{i, kCount * kSectorBytes - i, 0, 0}});
  }
  const Disc& disc = hand.finish();
  const Verdicts v = judged(disc);
  std::size_t gaps = 0;
  for (NodeId id = 1; id < disc.tree().size(); ++id) {
    const Verdict& verdict = v.of(id);
    ASSERT_TRUE(verdict.state == FileState::kDamaged || verdict.state == FileState::kLost);
    // Merged gaps may take more, never less, than is missing.
    const std::uint64_t start = disc.tree().extents(disc.tree().node(id))[0].position;
    const std::uint64_t bad_before = start / 4096 * 2048 + std::min<std::uint64_t>(start % 4096, 2048);
    ASSERT_GE(verdict.missing_bytes, kCount / 2 * kSectorBytes - bad_before);
    gaps += verdict.gap_count;
  }
  EXPECT_LT(gaps, (std::size_t{1} << 20) + 10 * kCount);
  EXPECT_THAT(v.doubts(disc, static_cast<NodeId>(kCount)), ::testing::Contains(HasSubstr("more gaps than")));
}

// Looking inside.

TEST(JudgeInside, UniformSectorsMakeAFileDoubtfulAndTheTextSaysWhere) {
  std::vector<std::uint8_t> bytes = numbered_sectors(80);
  fill(bytes, 21, 2, 0x00);
  fill(bytes, 32, 4, 0xFF);
  fill(bytes, 40, 3, 0x00);
  fill(bytes, 50, 1, 0x00);
  fill(bytes, 70, 5, 0x00);  // in no file
  MemoryImage memory(bytes);
  memory.allow_only({{20, 24}, {30, 36}, {40, 43}, {50, 52}, {60, 62}});
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("between", 20, 4 * 2048);
  hand.file("tail", 30, 5 * 2048 + 10);
  hand.file("all", 40, 3 * 2048 - 5);
  hand.file("head", 50, 4096);
  hand.file("data", 60, 4000);
  for (const unsigned threads : {1U, 2U}) {
    const Verdicts v = judged(threads == 1 ? hand.finish() : hand.disc(), threads);
    EXPECT_EQ(v.of(hand.id("data")).state, FileState::kWhole);
    EXPECT_EQ(v.of(hand.id("data")).basis, Basis::kAssumed);
    for (const char* name : {"between", "tail", "all", "head"}) {
      EXPECT_EQ(v.of(hand.id(name)).state, FileState::kDoubtful) << name;
      EXPECT_EQ(v.of(hand.id(name)).missing_bytes, 0U) << name;
    }
    EXPECT_THAT(gaps_of(v, hand.id("tail")), ElementsAre(Gap{2 * 2048, 3 * 2048 + 10, SectorState::kSuspect}));
    EXPECT_THAT(v.doubts(hand.disc(), hand.id("between")),
                ElementsAre("2 sectors filled with 00 between data, LBA 21-22"));
    EXPECT_THAT(v.doubts(hand.disc(), hand.id("tail")),
                ElementsAre("tail of 4 sectors filled with FF, LBA 32-35: may be real, nothing in the image can tell"));
    EXPECT_THAT(
        v.doubts(hand.disc(), hand.id("all")),
        ElementsAre("all of it, 3 sectors, is filled with 00, LBA 40-42: may be real, nothing in the image can tell"));
    EXPECT_THAT(v.doubts(hand.disc(), hand.id("head")), ElementsAre(HasSubstr("head of 1 sector filled with 00")));
    EXPECT_EQ(v.states().at(70), SectorState::kGood);
  }
}

TEST(JudgeInside, AShortFileIsSuspectOnlyWhenItsWholeSectorIs) {
  std::vector<std::uint8_t> bytes = numbered_sectors(40);
  fill(bytes, 20, 2, 0);
  bytes[21 * kSectorBytes + 2000] = 7;  // behind the file's end, and yet proof that the sector was read
  MemoryImage memory(bytes);
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("zeros", 20, 10);
  hand.file("zeros too", 21, 10);
  const Verdicts v = judged(hand.finish());
  EXPECT_EQ(v.of(hand.id("zeros")).state, FileState::kDoubtful);
  EXPECT_EQ(v.of(hand.id("zeros too")).state, FileState::kWhole);
}

TEST(JudgeInside, HolesAreNotReadAndReadErrorsAreBad) {
  MemoryImage memory(numbered_sectors(60));
  memory.hole(22, 10).fail(41, 1).allow_only({{20, 22}, {32, 33}, {40, 44}});
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("holed", 20, 13 * 2048);
  hand.file("failing", 40, 4 * 2048);
  const Verdicts v = judged(hand.finish());
  EXPECT_THAT(gaps_of(v, hand.id("holed")), ElementsAre(Gap{4096, 20480, SectorState::kUnread}));
  EXPECT_THAT(gaps_of(v, hand.id("failing")), ElementsAre(Gap{2048, 2048, SectorState::kBad}));
}

TEST(JudgeInside, NotLookingAndCancelling) {
  std::vector<std::uint8_t> bytes = numbered_sectors(40);
  fill(bytes, 20, 2, 0);
  MemoryImage memory(bytes);
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("a", 20, 4096);
  const auto blind = judge(hand.finish(), {false, 1, {}});
  ASSERT_TRUE(blind.ok());
  EXPECT_EQ(blind->of(hand.id("a")).state, FileState::kWhole);
  EXPECT_EQ(memory.log().sectors, 0U);
  const auto cancelled = judge(hand.disc(), {true, 2, [](const Progress&) { return false; }});
  ASSERT_FALSE(cancelled.ok());
  EXPECT_EQ(cancelled.error().code, ErrorCode::kCancelled);
}

TEST(JudgeInside, SuspectOfAMapIsToldAsSuch) {
  MemoryImage memory(numbered_sectors(40));
  memory.mark(20, 1, SectorState::kSuspect);
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("a", 20, 4096);
  const Verdicts v = judged(hand.finish());
  EXPECT_THAT(v.doubts(hand.disc(), hand.id("a")), ElementsAre("1 sector suspect, LBA 20"));
}

}  // namespace
}  // namespace lacuna
