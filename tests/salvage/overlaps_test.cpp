// SPDX-License-Identifier: GPL-3.0-or-later
// Who contradicts whom on UDF discs: deleted files, what is embedded in file entries, earlier states of a volume.
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
using test::numbered_sectors;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

class Overlaps : public ::testing::Test {
 protected:
  void judge_all() {
    auto v = judge(hand_.finish(), {true, 1, {}});
    ASSERT_TRUE(v.ok());
    verdicts_ = std::move(*v);
  }
  FileState state(const char* path) const { return verdicts_.of(hand_.id(path)).state; }
  std::vector<std::string> doubts(const char* path) const { return verdicts_.doubts(hand_.disc(), hand_.id(path)); }

  std::unique_ptr<Image> image_ = MemoryImage(numbered_sectors(200)).with_map().open();
  HandDisc hand_{*image_};
  Verdicts verdicts_;
};

TEST_F(Overlaps, DeletedFilesDoubtNoOtherAndEachOtherNeither) {
  hand_.file("live", 20, 5 * 2048);
  hand_.file("deleted", 5 * 2048, {at_lba(22, 5 * 2048)}, node_flag::kDeleted);
  hand_.file("deleted too", 2 * 2048, {at_lba(22, 2 * 2048)}, node_flag::kDeleted);
  hand_.tree().add_doubt(hand_.file("doubted by the reader", 2048, {at_lba(20, 2048)}, node_flag::kDeleted),
                         "deleted, and its place may hold other data by now");
  judge_all();
  EXPECT_EQ(state("live"), FileState::kWhole);
  EXPECT_EQ(state("deleted"), FileState::kWhole);
  EXPECT_EQ(state("deleted too"), FileState::kWhole);
  EXPECT_EQ(state("doubted by the reader"), FileState::kDoubtful);
  EXPECT_THAT(doubts("live"), IsEmpty());
}

TEST_F(Overlaps, AnEmbeddedFileLiesInItsEntryAndNoOtherMay) {
  for (std::uint64_t lba = 30; lba < 33; ++lba) hand_.structure(StructureKind::kFileEntry, lba, 2048);
  hand_.structure(StructureKind::kMetadataFile, 30, 10 * 2048);
  hand_.file("embedded", 100, {{31 * kSectorBytes + 176, 100, 0, 0}});
  hand_.file("another name", 100, {{31 * kSectorBytes + 176, 100, 0, 0}});
  hand_.file("on an entry", 30, 2048);
  hand_.file("across the end of one", 2048, {{32 * kSectorBytes + 176, 2048, 0, 0}});
  judge_all();
  EXPECT_EQ(state("embedded"), FileState::kWhole);
  EXPECT_EQ(state("another name"), FileState::kWhole);
  EXPECT_THAT(doubts("on an entry"), ElementsAre("shares sectors 30-30 with a file entry"));
  EXPECT_EQ(state("across the end of one"), FileState::kDoubtful);
}

TEST_F(Overlaps, StructuresOfUdfAreNoPlaceForFiles) {
  std::uint64_t lba = 40;
  const StructureKind kinds[] = {StructureKind::kAnchor,           StructureKind::kIntegrity,
                                 StructureKind::kFileSet,          StructureKind::kAllocationExtent,
                                 StructureKind::kVirtualTable,     StructureKind::kSparingTable,
                                 StructureKind::kVolumeDescriptor, StructureKind::kSpaceMap};
  for (const StructureKind k : kinds) {
    hand_.structure(k, lba, 2048);
    hand_.file(std::string(to_string(k)), lba, 1000);
    lba += 2;
  }
  judge_all();
  for (const StructureKind k : kinds) {
    EXPECT_EQ(state(std::string(to_string(k)).c_str()), FileState::kDoubtful) << to_string(k);
  }
  EXPECT_THAT(doubts("anchor"), ElementsAre("shares sectors 40-40 with an anchor"));
  EXPECT_THAT(doubts("space map"), ElementsAre(HasSubstr("with a space map")));
}

class EarlierStates : public Overlaps {
 protected:
  void sessions(std::initializer_list<SessionSource> sources) {
    std::uint32_t number = 0;
    for (const SessionSource source : sources) {
      Session s;
      s.number = ++number;
      s.source = source;
      s.in_tree = true;
      hand_.builder().sessions().push_back(s);
      folders_.push_back(hand_.directory("session-" + std::to_string(number), 0));
    }
  }
  void file_in(std::size_t session, const std::string& name, const std::vector<Extent>& extents) {
    Node n;
    for (const Extent& e : extents) n.size += e.bytes;
    hand_.node(name, n, extents, folders_[session - 1]);
  }
  std::vector<NodeId> folders_;
};

TEST_F(EarlierStates, ShareWithLaterOnesWhatDidNotChangeOfAFile) {
  sessions({SessionSource::kTable, SessionSource::kTable, SessionSource::kFirst});
  file_in(1, "log", {at_lba(20, 4096)});
  file_in(2, "log", {at_lba(20, 4096), at_lba(50, 4096)});
  file_in(3, "log", {at_lba(20, 2048), at_lba(60, 2048), at_lba(50, 4096)});
  judge_all();
  for (const char* path : {"session-1/log", "session-2/log", "session-3/log"}) {
    EXPECT_EQ(state(path), FileState::kWhole) << path;
  }
}

TEST_F(EarlierStates, AreStillHeldAgainstThemselves) {
  sessions({SessionSource::kTable, SessionSource::kFirst});
  for (const std::size_t session : {1U, 2U}) {
    file_in(session, "a", {at_lba(20, 4096)});
    file_in(session, "b", {at_lba(21, 4096)});
  }
  judge_all();
  EXPECT_THAT(doubts("session-1/a"), ElementsAre("shares sectors 21-21 with session-1/b"));
  EXPECT_THAT(doubts("session-1/b"), ElementsAre("shares sectors 21-21 with session-1/a"));
  EXPECT_THAT(doubts("session-2/a"), ElementsAre("shares sectors 21-21 with session-2/b"));
}

TEST_F(EarlierStates, SessionsOfAnotherKindAreHeldAgainstEachOther) {
  sessions({SessionSource::kFirst, SessionSource::kFound});
  file_in(1, "log", {at_lba(20, 4096)});
  file_in(2, "log", {at_lba(20, 4096), at_lba(50, 4096)});
  judge_all();
  EXPECT_EQ(state("session-1/log"), FileState::kDoubtful);
  EXPECT_EQ(state("session-2/log"), FileState::kDoubtful);
}

TEST_F(EarlierStates, AFolderThatOnlyBearsSuchANameIsNone) {
  Session s;
  s.number = 2;
  s.source = SessionSource::kTable;
  s.in_tree = true;
  hand_.builder().sessions().push_back(s);
  folders_.push_back(hand_.directory("session-2", 0));
  file_in(1, "a", {at_lba(20, 4096)});
  hand_.file("b", 21, 4096);
  judge_all();
  EXPECT_EQ(state("session-2/a"), FileState::kDoubtful);
  EXPECT_EQ(state("b"), FileState::kDoubtful);
}

}  // namespace
}  // namespace lacuna
