// SPDX-License-Identifier: GPL-3.0-or-later
#include "disc/unite.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace lacuna {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

/// A tree in one view, built path by path.
class ViewTree {
 public:
  explicit ViewTree(View view) : view_(view) {}

  NodeId directory(NodeId parent, std::string_view name) { return add(parent, name, NodeKind::kDirectory, 0, 0); }
  NodeId file(NodeId parent, std::string_view name, std::uint64_t lba, std::uint64_t bytes) {
    return add(parent, name, NodeKind::kFile, lba, bytes);
  }
  Tree tree;

 private:
  NodeId add(NodeId parent, std::string_view name, NodeKind kind, std::uint64_t lba, std::uint64_t bytes) {
    Node n;
    n.kind = kind;
    n.view = view_;
    n.size = bytes;
    n.names[static_cast<std::size_t>(view_)] = tree.add_text(name);
    const NodeId id = tree.add_child(parent, n);
    const Extent e{lba * kSectorBytes, bytes, 0, 0};
    if (bytes != 0) tree.add_extents(id, {&e, 1});
    return id;
  }
  View view_;
};

std::vector<std::string> paths(Tree& tree) {
  tree.finish();
  std::vector<std::string> all;
  for (const NodeId id : tree.in_order()) all.push_back(tree.path(id));
  return all;
}

TEST(Unite, FilesAtTheSamePlaceBecomeOneWithTheBetterName) {
  ViewTree iso(View::kIso9660), joliet(View::kJoliet);
  iso.file(iso.directory(kRoot, "HARBOU_1"), "TIDE_T_1.TXT", 30, 500);
  joliet.file(joliet.directory(kRoot, "Harbour plans"), "Tide tables.txt", 30, 500);
  Findings findings;
  const UniteResult united = unite(iso.tree, joliet.tree, findings);
  EXPECT_TRUE(united.agreed[2]);
  choose_views(iso.tree, View::kJoliet);
  EXPECT_THAT(paths(iso.tree), ElementsAre("Harbour plans", "Harbour plans/Tide tables.txt"));
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
  EXPECT_THAT(paths(iso.tree), ElementsAre("a.txt", "only here.txt"));
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
  EXPECT_THAT(paths(iso.tree), ElementsAre("photos", "photos/one.jpg", "photos/two.jpg"));
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
  EXPECT_THAT(paths(iso.tree), ElementsAre("empty di", "nothing.txt"));
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

}  // namespace
}  // namespace lacuna
