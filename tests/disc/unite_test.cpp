// SPDX-License-Identifier: GPL-3.0-or-later
#include "disc/unite.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "disc/orphans.h"
#include "disc/view_tree.h"

namespace lacuna {
namespace {

using test::finished_paths;
using test::ViewTree;
using testing::ElementsAre;
using testing::HasSubstr;

TEST(Unite, FilesAtTheSamePlaceBecomeOneWithTheBetterName) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  iso.file(iso.directory(kRoot, "HARBOU_1"), "TIDE_T_1.TXT", 30, 500);
  joliet.file(joliet.directory(kRoot, "Harbour plans"), "Tide tables.txt", 30, 500);
  Findings findings;
  const UniteResult united = unite(iso.tree, joliet.tree, findings);
  EXPECT_TRUE(united.agreed[2]);
  choose_views(iso.tree, View::kJoliet);
  EXPECT_THAT(finished_paths(iso.tree), ElementsAre("Harbour plans", "Harbour plans/Tide tables.txt"));
  EXPECT_TRUE(findings.empty());
}

TEST(Unite, NameMissingInOneViewIsTakenFromTheOther) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  iso.file(kRoot, "A.TXT", 30, 500);
  joliet.file(kRoot, "a.txt", 30, 500);
  joliet.file(kRoot, "only here.txt", 31, 100);
  Findings findings;
  unite(iso.tree, joliet.tree, findings);
  choose_views(iso.tree, View::kRockRidge);  // as if the volume had Rock Ridge
  EXPECT_EQ(iso.tree.node(2).evidence, Evidence::kView);
  EXPECT_THAT(finished_paths(iso.tree), ElementsAre("a.txt", "only here.txt"));
}

TEST(Unite, DirectoryUnreadableInOneViewGetsTheOthersChildren) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  const NodeId lost = iso.directory(kRoot, "PHOTOS");
  iso.tree.edit(lost).flags |= node_flag::kUnread;
  const NodeId whole = joliet.directory(kRoot, "photos");
  joliet.file(whole, "one.jpg", 40, 9000);
  joliet.file(whole, "two.jpg", 50, 9000);
  Findings findings;
  const UniteResult united = unite(iso.tree, joliet.tree, findings);
  EXPECT_EQ(united.base_ids[whole], lost);
  EXPECT_FALSE(iso.tree.node(lost).has(node_flag::kUnread));
  choose_views(iso.tree, View::kJoliet);
  EXPECT_THAT(finished_paths(iso.tree), ElementsAre("photos", "photos/one.jpg", "photos/two.jpg"));
}

TEST(Unite, DirectoryHurtInBothViewsStaysHurt) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  const NodeId a = iso.directory(kRoot, "PHOTOS");
  iso.tree.edit(a).flags |= node_flag::kUnread;
  const NodeId b = joliet.directory(kRoot, "photos");
  joliet.tree.edit(b).flags |= node_flag::kIncomplete;
  Findings findings;
  unite(iso.tree, joliet.tree, findings);
  EXPECT_TRUE(iso.tree.node(a).has(node_flag::kIncomplete));
}

TEST(Unite, DifferentLengthOfOneFileIsADoubt) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  const NodeId a = iso.file(kRoot, "REPORT.DOC", 30, 5000);
  joliet.file(kRoot, "report.doc", 30, 4000);
  Findings findings;
  unite(iso.tree, joliet.tree, findings);
  ASSERT_EQ(iso.tree.doubts(a).size(), 1u);
  EXPECT_THAT(iso.tree.doubts(a)[0], HasSubstr("5000 and 4000 bytes"));
}

TEST(Unite, SameNameElsewhereOnTheDiscDoubtsBoth) {
  ViewTree iso(View::kRockRidge), joliet(View::kJoliet);
  const NodeId a = iso.file(kRoot, "report.doc", 30, 5000);
  joliet.file(kRoot, "report.doc", 90, 5000);
  Findings findings;
  const UniteResult united = unite(iso.tree, joliet.tree, findings);
  EXPECT_TRUE(iso.tree.has_doubts(a));
  EXPECT_TRUE(iso.tree.has_doubts(united.base_ids[1]));
  EXPECT_NE(united.base_ids[1], a);
}

TEST(Unite, HardLinksInOneDirectoryAreMatchedByName) {
  ViewTree rr(View::kRockRidge), joliet(View::kJoliet);
  const NodeId first = rr.file(kRoot, "first", 30, 500);
  const NodeId second = rr.file(kRoot, "second", 30, 500);
  const NodeId joliet_second = joliet.file(kRoot, "second", 30, 500);
  const NodeId joliet_first = joliet.file(kRoot, "first", 30, 500);
  Findings findings;
  const UniteResult united = unite(rr.tree, joliet.tree, findings);
  EXPECT_EQ(united.base_ids[joliet_first], first);
  EXPECT_EQ(united.base_ids[joliet_second], second);
  EXPECT_EQ(rr.tree.size(), 3u);
}

TEST(Unite, EmptyFilesAndDirectoriesAreMatchedByName) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  iso.directory(kRoot, "EMPTY_DI");
  iso.file(kRoot, "NOTHING.TXT", 0, 0);
  joliet.directory(kRoot, "empty di");
  joliet.file(kRoot, "nothing.txt", 0, 0);
  Findings findings;
  unite(iso.tree, joliet.tree, findings);
  choose_views(iso.tree, View::kJoliet);
  EXPECT_THAT(finished_paths(iso.tree), ElementsAre("empty di", "nothing.txt"));
}

TEST(Unite, ManyFilesOverOneExtentStayBounded) {
  // Every file of both trees names the same extent: candidates must not be compared all with all.
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  for (int i = 0; i < 30000; ++i) {
    iso.file(kRoot, "F" + std::to_string(i), 30, 500);
    joliet.file(kRoot, "g" + std::to_string(i), 30, 500);
  }
  Findings findings;
  const UniteResult united = unite(iso.tree, joliet.tree, findings);
  EXPECT_EQ(united.base_ids.size(), 30001u);
}

void set_extents(Tree& tree, NodeId id, std::vector<Extent> extents) {
  tree.edit(id).extent_count = 0;
  tree.add_extents(id, extents);
}

TEST(Unite, ExtentsWithoutAPlaceDoNotTellWhereAFileLies) {
  ViewTree udf(View::kUdf), iso(View::kIso9660);
  // Both begin with zeros, which is no place in common.
  const NodeId a = udf.file(kRoot, "one.bin", 30, 4096);
  set_extents(udf.tree, a, {{kZeros, 2048, 0, 0}, {30 * kSectorBytes, 2048, 0, 0}});
  const NodeId b = udf.file(kRoot, "two.bin", 40, 4096);
  set_extents(udf.tree, b, {{kZeros, 2048, 0, 0}, {40 * kSectorBytes, 2048, 0, 0}});
  const NodeId all_zeros = udf.file(kRoot, "zeros.bin", 1, 4096);
  set_extents(udf.tree, all_zeros, {{kZeros, 4096, 0, 0}});
  const NodeId y = iso.file(kRoot, "TWO.BIN", 40, 4096);
  set_extents(iso.tree, y, {{kZeros, 2048, 0, 0}, {40 * kSectorBytes, 2048, 0, 0}});
  const NodeId empty = iso.file(kRoot, "ZEROS.BIN", 0, 0);
  Findings findings;
  const UniteResult united = unite(udf.tree, iso.tree, findings);
  EXPECT_EQ(united.base_ids[y], b);
  EXPECT_NE(united.base_ids[empty], all_zeros) << "an empty file is not one of zeros";
  EXPECT_TRUE(findings.empty());
}

TEST(Unite, DeletedNamesStayWhatTheyAre) {
  ViewTree udf(View::kUdf), iso(View::kIso9660);
  const NodeId dead = udf.file(udf.directory(kRoot, "gone"), "old.txt", 50, 500);
  const NodeId dead_folder = udf.tree.node(dead).parent;
  const NodeId deleted = udf.file(kRoot, "a.txt", 30, 500);
  const NodeId live = udf.file(kRoot, "b.txt", 30, 500);  // renamed: the same place under another name
  udf.tree.edit(deleted).flags |= node_flag::kDeleted;
  udf.tree.edit(dead_folder).flags |= node_flag::kDeleted;
  const NodeId x = iso.file(kRoot, "A.TXT", 30, 500);
  const NodeId folder = iso.directory(kRoot, "GONE");
  iso.file(folder, "OLD.TXT", 50, 500);
  Findings findings;
  const UniteResult united = unite(udf.tree, iso.tree, findings);
  EXPECT_EQ(united.base_ids[x], live);
  EXPECT_NE(united.base_ids[folder], dead_folder);
  EXPECT_EQ(udf.tree.node(deleted).names[static_cast<std::size_t>(View::kIso9660)].length, 0u);

  ViewTree other(View::kUdf);
  const NodeId copied = other.file(kRoot, "A.TXT", 30, 500);
  other.tree.edit(copied).flags |= node_flag::kDeleted;
  const UniteResult reversed = unite(iso.tree, other.tree, findings);
  EXPECT_NE(reversed.base_ids[copied], x);
  EXPECT_TRUE(iso.tree.node(reversed.base_ids[copied]).has(node_flag::kDeleted));
  EXPECT_FALSE(iso.tree.node(x).has(node_flag::kDeleted));
}

// One view lost the entry that says where a file lies, another still knows it.
class UniteLost : public ::testing::TestWithParam<bool> {
 protected:
  /// Unites a UDF view and an ISO 9660 one, either of them being the base.
  UniteResult run() { return GetParam() ? unite(udf.tree, iso.tree, findings) : unite(iso.tree, udf.tree, findings); }
  Tree& united() { return GetParam() ? udf.tree : iso.tree; }
  NodeId lost(std::string_view name) {
    const NodeId id = udf.file(kRoot, name, 0, 0);
    udf.tree.edit(id).flags |= node_flag::kUnlocated;
    return id;
  }
  std::vector<std::string> all() {
    choose_views(united(), View::kUdf);
    return finished_paths(united());
  }
  ViewTree udf{View::kUdf}, iso{View::kIso9660};
  Findings findings;
};

TEST_P(UniteLost, IsWhereTheOtherViewSaysUnderTheBetterName) {
  lost("Harbour.txt");
  lost("nobody else knows it.txt");
  iso.file(kRoot, "HARBOUR.TXT", 30, 500);
  iso.file(kRoot, "OTHER.TXT", 40, 600);
  run();
  EXPECT_THAT(all(), ElementsAre("Harbour.txt", "OTHER.TXT", "nobody else knows it.txt"));
  const Node& n = united().node(1);
  EXPECT_FALSE(n.has(node_flag::kUnlocated));
  EXPECT_EQ(n.size, 500u);
  ASSERT_EQ(united().extents(n).size(), 1u);
  EXPECT_EQ(united().extents(n)[0].position, 30 * kSectorBytes);
  EXPECT_TRUE(united().node(3).has(node_flag::kUnlocated));
  EXPECT_EQ(findings.counts().at("located-by-other-view"), 1u);
}

TEST_P(UniteLost, NamesThatFitTwiceDecideNothing) {
  lost("fjord-\xc3\xa5.txt");
  lost("fjord-\xc3\xb8.txt");
  iso.file(kRoot, "FJORD__.TXT", 30, 500);
  run();
  EXPECT_EQ(all().size(), 3u);
  EXPECT_TRUE(findings.empty());
}

TEST_P(UniteLost, AFileThatLiesElsewhereIsNotTaken) {
  udf.file(kRoot, "b.txt", 30, 500);
  lost("a.txt");
  iso.file(kRoot, "A.TXT", 30, 500);  // by its place it is b.txt, whatever its name
  run();
  EXPECT_THAT(all(), ElementsAre("a.txt", "b.txt"));
  EXPECT_TRUE(united().node(1).has(node_flag::kUnlocated));
}

TEST_P(UniteLost, APartThatIsNowhereIsFoundWhenTheSizeIsTheSame) {
  const NodeId id = udf.file(kRoot, "a.bin", 30, 6144);
  set_extents(udf.tree, id, {{kNowhere, 2048, 0, 0}, {31 * kSectorBytes, 4096, 0, 0}});
  const NodeId other = udf.file(kRoot, "b.bin", 50, 6144);
  set_extents(udf.tree, other, {{kNowhere, 2048, 0, 0}, {51 * kSectorBytes, 4096, 0, 0}});
  iso.file(kRoot, "A.BIN", 30, 6144);
  iso.file(kRoot, "B.BIN", 50, 9999);
  run();
  EXPECT_THAT(all(), ElementsAre("B.BIN", "a.bin", "b.bin"));
  const Node& n = united().node(2);
  ASSERT_EQ(united().extents(n).size(), 1u);
  EXPECT_EQ(united().extents(n)[0].position, 30 * kSectorBytes);
  EXPECT_FALSE(united().has_doubts(2));
}

TEST_P(UniteLost, DoubtsOfThePlaceThatIsLostAreNotThoseOfTheOther) {
  udf.tree.add_doubt(lost("a.txt"), "its entry can't be read");
  iso.tree.add_doubt(iso.file(kRoot, "A.TXT", 30, 500), "both halves differ");
  run();
  all();
  if (GetParam()) {
    EXPECT_THAT(united().doubts(1), ElementsAre("its entry can't be read", "both halves differ"));
  } else {
    EXPECT_THAT(united().doubts(1), ElementsAre("both halves differ"));
  }
}

INSTANTIATE_TEST_SUITE_P(Base, UniteLost, ::testing::Bool(),
                         [](const auto& base) { return base.param ? std::string("Udf") : std::string("Iso"); });

TEST(Unite, AFindingAcrossStandardsNamesNoClauseOfOne) {
  for (const View view : {View::kJoliet, View::kUdf}) {
    ViewTree iso(View::kRockRidge), other(view);
    iso.file(kRoot, "report.doc", 30, 5000);
    other.file(kRoot, "report.doc", 30, 4000);
    Findings findings;
    unite(iso.tree, other.tree, findings);
    ASSERT_EQ(findings.list().size(), 1u);
    EXPECT_EQ(findings.list()[0].clause, view == View::kUdf ? "" : "ECMA-119 8.5");
  }
}

TEST(Unite, SymbolicLinksAreMatchedWhateverTheirViewsSayOfTheirSize) {
  ViewTree rr(View::kRockRidge), udf(View::kUdf);
  const NodeId a = rr.file(kRoot, "link", 0, 0);
  rr.tree.edit(a).kind = NodeKind::kSymlink;
  const NodeId b = udf.file(kRoot, "link", 60, 20);  // UDF keeps the path as content (UDF 2.3.13)
  udf.tree.edit(b).kind = NodeKind::kSymlink;
  Findings findings;
  EXPECT_EQ(unite(rr.tree, udf.tree, findings).base_ids[b], a);
}

TEST(ChooseViews, AViewThatJoinsLaterGivesEvidenceTreeBack) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet), udf(View::kUdf);
  iso.file(kRoot, "A.TXT", 30, 500);
  iso.file(kRoot, "B.TXT", 31, 500);
  joliet.file(kRoot, "c.txt", 32, 500);
  udf.file(kRoot, "a.txt", 30, 500);
  Findings findings;
  unite(iso.tree, joliet.tree, findings);
  choose_views(iso.tree, View::kJoliet);
  EXPECT_EQ(iso.tree.node(1).evidence, Evidence::kView);
  unite(iso.tree, udf.tree, findings);
  choose_views(iso.tree, View::kUdf);
  EXPECT_EQ(iso.tree.node(1).evidence, Evidence::kTree);
  EXPECT_EQ(iso.tree.node(2).evidence, Evidence::kView);
  EXPECT_EQ(iso.tree.node(3).evidence, Evidence::kView);
}

TEST(Unite, DetailsAndDoubtsOfTheOtherViewAreKept) {
  ViewTree iso(View::kIso9660), other(View::kJoliet);
  const NodeId b = other.file(kRoot, "new", 30, 500);
  other.tree.edit_details(b).created = {1000, 0, 0, true};
  other.tree.add_doubt(b, "a doubt");
  Findings findings;
  const UniteResult united = unite(iso.tree, other.tree, findings);
  const NodeId a = united.base_ids[b];
  EXPECT_EQ(iso.tree.details(iso.tree.node(a)).created.seconds, 1000);
  EXPECT_THAT(iso.tree.doubts(a), ElementsAre("a doubt"));
}

NodeId orphan(ViewTree& t, NodeKind kind, std::uint64_t lba) {
  const NodeId folder = orphans_folder(t.tree, t.view());
  const std::string name = orphan_name(kind, lba * kSectorBytes);
  const NodeId id = kind == NodeKind::kDirectory ? t.directory(folder, name) : t.file(folder, name, lba, 500);
  t.tree.edit(id).evidence = Evidence::kScan;
  t.tree.edit(id).flags |= node_flag::kNameMade;
  return id;
}

TEST(Unite, AnOrphanGetsTheNameAndPlaceThatTheOtherViewKnows) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  const NodeId a = orphan(iso, NodeKind::kDirectory, 20);
  iso.file(a, "TIDES.TXT", 30, 500);
  joliet.file(joliet.directory(joliet.directory(kRoot, "Harbour"), "Plans"), "Tides.txt", 30, 500);
  Findings findings;
  unite(iso.tree, joliet.tree, findings);
  drop_empty_orphans(iso.tree);
  choose_views(iso.tree, View::kJoliet);
  EXPECT_THAT(finished_paths(iso.tree), ElementsAre("Harbour", "Harbour/Plans", "Harbour/Plans/Tides.txt"));
  EXPECT_EQ(iso.tree.node(2).evidence, Evidence::kTree);
  EXPECT_FALSE(iso.tree.node(2).has(node_flag::kNameMade));
}

TEST(Unite, AnOrphanOfTheOtherViewGivesItsNamesToWhatIsInItsPlace) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  iso.file(iso.directory(kRoot, "PLANS"), "TIDES.TXT", 30, 500);
  const NodeId b = orphan(joliet, NodeKind::kDirectory, 20);
  joliet.file(b, "Tide tables of the year.txt", 30, 500);
  Findings findings;
  const UniteResult united = unite(iso.tree, joliet.tree, findings);
  drop_empty_orphans(iso.tree);
  choose_views(iso.tree, View::kJoliet);
  EXPECT_EQ(united.base_ids[b], 1u);
  EXPECT_THAT(finished_paths(iso.tree), ElementsAre("PLANS", "PLANS/Tide tables of the year.txt"));
}

TEST(Unite, AnOrphanFileIsTheOneThatLiesThere) {
  ViewTree iso(View::kIso9660), udf(View::kUdf);
  iso.file(kRoot, "TIDES.TXT", 30, 500);
  orphan(udf, NodeKind::kFile, 30);
  orphan(udf, NodeKind::kFile, 90);
  Findings findings;
  unite(iso.tree, udf.tree, findings);
  choose_views(iso.tree, View::kUdf);
  EXPECT_THAT(finished_paths(iso.tree), ElementsAre("TIDES.TXT", "_orphans", "_orphans/file-at-90"));
}

// A root that its own tree knows only as the parent of others.
TEST(Unite, AnOrphanThatHoldsWhatTheOthersRootHoldsIsTheRoot) {
  for (const bool in_base : {true, false}) {
    ViewTree iso(View::kIso9660), joliet(View::kJoliet);
    ViewTree& lost = in_base ? iso : joliet;
    ViewTree& whole = in_base ? joliet : iso;
    const NodeId root = orphan(lost, NodeKind::kDirectory, 20);
    lost.file(lost.directory(root, "one"), "tides.txt", 30, 500);
    lost.file(lost.directory(root, "two"), "moons.txt", 40, 500);
    whole.file(whole.directory(kRoot, "one"), "tides.txt", 30, 500);
    whole.file(whole.directory(kRoot, "two"), "moons.txt", 40, 500);
    Findings findings;
    unite(iso.tree, joliet.tree, findings);
    drop_empty_orphans(iso.tree);
    choose_views(iso.tree, View::kJoliet);
    EXPECT_THAT(finished_paths(iso.tree), ElementsAre("one", "one/tides.txt", "two", "two/moons.txt")) << in_base;
  }
}

// Two views that contradict each other: what one puts below a directory is above it in the other.
TEST(Unite, OrphansNeverHangBelowThemselves) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  const NodeId up = orphan(iso, NodeKind::kDirectory, 20);
  iso.file(up, "UP.TXT", 30, 500);
  const NodeId down = iso.directory(up, "DOWN");
  iso.file(down, "DOWN.TXT", 40, 500);
  const NodeId joliet_down = joliet.directory(kRoot, "down");
  joliet.file(joliet_down, "down.txt", 40, 500);
  joliet.file(joliet.directory(joliet_down, "up"), "up.txt", 30, 500);
  Findings findings;
  unite(iso.tree, joliet.tree, findings);
  choose_views(iso.tree, View::kJoliet);
  const std::vector<std::string> all = finished_paths(iso.tree);
  EXPECT_THAT(all, testing::Contains("down/up/up.txt"));
  EXPECT_THAT(all, testing::Contains(testing::AnyOf("down/down.txt", "down/up/DOWN/down.txt")));
}

}  // namespace
}  // namespace lacuna
