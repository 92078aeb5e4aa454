// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/tree.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "disc/view_tree.h"

namespace lacuna {
namespace {

using test::paths;
using testing::ElementsAre;

NodeId add(Tree& tree, NodeId parent, std::string_view name, NodeKind kind = NodeKind::kFile) {
  Node n;
  n.kind = kind;
  n.names[static_cast<std::size_t>(View::kIso9660)] = tree.add_text(name);
  return tree.add_child(parent, n);
}

TEST(Tree, FinishSortsSiblingsAndNumbersInListingOrder) {
  Tree tree;
  const NodeId b = add(tree, kRoot, "b", NodeKind::kDirectory);
  const NodeId late = add(tree, b, "z");
  add(tree, kRoot, "a");
  add(tree, b, "y");
  const std::vector<NodeId> ids = tree.finish();
  EXPECT_THAT(paths(tree), ElementsAre("a", "b", "b/y", "b/z"));
  EXPECT_THAT(tree.in_order(), ElementsAre(1u, 2u, 3u, 4u));
  EXPECT_EQ(tree.path(ids[late]), "b/z");
}

TEST(Tree, EqualNamesAreMadeDistinct) {
  Tree tree;
  for (int i = 0; i < 3; ++i) add(tree, kRoot, "same");
  add(tree, kRoot, "same~2");  // taken already
  tree.finish();
  EXPECT_THAT(paths(tree), ElementsAre("same", "same~2", "same~3", "same~4"));
}

TEST(Tree, HighestVersionKeepsTheNameAndAssociatedFilesFollow) {
  Tree tree;
  const NodeId old = add(tree, kRoot, "F");
  const NodeId fork = add(tree, kRoot, "F");
  const NodeId newest = add(tree, kRoot, "F");
  tree.edit(old).version = 1;
  tree.edit(newest).version = 3;
  tree.edit(fork).version = 3;
  tree.edit(fork).flags |= node_flag::kAssociated;
  const std::vector<NodeId> ids = tree.finish();
  EXPECT_EQ(tree.path(ids[newest]), "F");
  EXPECT_EQ(tree.path(ids[old]), "F;1");
  EXPECT_EQ(tree.path(ids[fork]), "F.associated");
}

TEST(Tree, WhatIsDeletedAndStreamsNeverTakeTheNameOfWhatIsThere) {
  Tree tree;
  const NodeId deleted = add(tree, kRoot, "report.txt");
  const NodeId older = add(tree, kRoot, "report.txt");
  const NodeId live = add(tree, kRoot, "report.txt");
  const NodeId deleted_folder = add(tree, kRoot, "folder", NodeKind::kDirectory);
  const NodeId folder = add(tree, kRoot, "folder", NodeKind::kDirectory);
  add(tree, folder, "inside");
  const NodeId stream = add(tree, kRoot, "a:b");
  const NodeId file = add(tree, kRoot, "a:b");
  for (const NodeId id : {deleted, older, deleted_folder}) {
    tree.edit(id).flags |= node_flag::kDeleted;
    tree.edit(id).version = 9;
  }
  tree.edit(live).version = 1;
  tree.edit(stream).flags |= node_flag::kStream;
  const std::vector<NodeId> ids = tree.finish();
  EXPECT_EQ(tree.path(ids[live]), "report.txt");
  EXPECT_EQ(tree.path(ids[deleted]), "report.txt~2");
  EXPECT_EQ(tree.path(ids[older]), "report.txt~3");
  EXPECT_EQ(tree.path(ids[deleted_folder]), "folder~2");
  EXPECT_THAT(paths(tree), testing::Contains("folder/inside"));
  EXPECT_EQ(tree.path(ids[file]), "a:b");
  EXPECT_EQ(tree.path(ids[stream]), "a:b~2");
}

TEST(Tree, UnlinkedNodesAndAllBelowAreDropped) {
  Tree tree;
  const NodeId gone = add(tree, kRoot, "gone", NodeKind::kDirectory);
  const NodeId below = add(tree, gone, "below");
  const NodeId kept = add(tree, kRoot, "kept");
  tree.add_doubt(below, "why");
  tree.add_doubt(kept, "because");
  tree.unlink(gone);
  const std::vector<NodeId> ids = tree.finish();
  EXPECT_EQ(ids[gone], kNoNode);
  EXPECT_EQ(ids[below], kNoNode);
  EXPECT_THAT(paths(tree), ElementsAre("kept"));
  EXPECT_THAT(tree.doubts(ids[kept]), ElementsAre("because"));
}

TEST(Tree, MoveRefusesToMakeALoop) {
  Tree tree;
  const NodeId a = add(tree, kRoot, "a", NodeKind::kDirectory);
  const NodeId b = add(tree, a, "b", NodeKind::kDirectory);
  EXPECT_FALSE(tree.move(a, b));
  EXPECT_FALSE(tree.move(a, a));
  EXPECT_TRUE(tree.move(b, kRoot));
  tree.finish();
  EXPECT_THAT(paths(tree), ElementsAre("a", "b"));
}

TEST(Tree, ExtentsOfNodesFilledInTurnStayTogether) {
  Tree tree;
  const NodeId a = add(tree, kRoot, "a");
  const NodeId b = add(tree, kRoot, "b");
  const Extent x{2048, 10, 0, 0}, y{4096, 20, 0, 0}, z{8192, 30, 0, 0};
  tree.add_extents(a, {&x, 1});
  tree.add_extents(b, {&y, 1});
  tree.add_extents(a, {&z, 1});  // a's first extent is no longer the last in the array
  EXPECT_THAT(tree.extents(tree.node(a)), ElementsAre(x, z));
  EXPECT_THAT(tree.extents(tree.node(b)), ElementsAre(y));
}

TEST(Tree, ChainOfAHundredThousandDirectoriesIsWalkedWithoutRecursion) {
  Tree tree;
  NodeId at = kRoot;
  for (int i = 0; i < 100000; ++i) at = add(tree, at, "d", NodeKind::kDirectory);
  tree.finish();
  EXPECT_EQ(tree.in_order().size(), 100000u);
}

TEST(ForEachPiece, InterleavedExtentGivesItsUnits) {
  // ECMA-119 6.4.3: units of 4 blocks, gaps of 2; data block 9 lies at block 100 + 2 * 6 + 1 = 113 (worked by hand).
  const Extent e{100 * 2048, 10 * 2048, 4 * 2048, 2 * 2048};
  std::vector<std::pair<std::uint64_t, std::uint64_t>> pieces;
  for_each_piece(e, [&](std::uint64_t position, std::uint64_t bytes) {
    pieces.emplace_back(position / 2048, bytes / 2048);
    return true;
  });
  EXPECT_THAT(pieces, ElementsAre(std::pair{100, 4}, std::pair{106, 4}, std::pair{112, 2}));
}

TEST(ForEachPiece, ExtentsWithoutAPlaceHaveNone) {
  for (const std::uint64_t position : {kZeros, kNowhere}) {
    for_each_piece(Extent{position, 5000, 2048, 2048}, [](std::uint64_t, std::uint64_t) {
      ADD_FAILURE();
      return true;
    });
  }
}

TEST(ForEachPiece, EmptyExtentHasNone) {
  for_each_piece(Extent{}, [](std::uint64_t, std::uint64_t) {
    ADD_FAILURE() << "a piece of an empty extent";
    return true;
  });
}

}  // namespace
}  // namespace lacuna
