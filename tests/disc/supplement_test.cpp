// SPDX-License-Identifier: GPL-3.0-or-later
#include "disc/supplement.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "disc/view_tree.h"

namespace lacuna {
namespace {

using test::finished_paths;
using test::ViewTree;
using testing::ElementsAre;

/// Two sessions of one disc: the later one has a newer report and a new letter.
struct TwoSessions {
  ViewTree now{View::kJoliet}, before{View::kJoliet};
  NodeId plans = now.directory(kRoot, "plans");
  NodeId report = now.file(plans, "report.txt", 80, 700);

  TwoSessions() {
    const NodeId old = before.directory(kRoot, "plans");
    before.file(old, "report.txt", 30, 500);
    before.file(old, "sketch.png", 31, 4000);
    before.file(before.directory(old, "drafts"), "one.txt", 40, 100);
    before.file(kRoot, "deleted since.txt", 50, 100);
  }

  SessionTree supplemented() {
    SessionTree base, earlier;
    base.tree = std::move(now.tree);
    earlier.tree = std::move(before.tree);
    supplement(base, earlier, 1);
    return base;
  }
};

TEST(Supplement, AHurtDirectoryGetsWhatItHeldBefore) {
  TwoSessions discs;
  discs.now.tree.edit(discs.plans).flags |= node_flag::kIncomplete;
  SessionTree base = discs.supplemented();
  ASSERT_EQ(base.findings.counts().at("from-earlier-session"), 1u);
  EXPECT_EQ(base.findings.list()[0].subject, "plans");
  EXPECT_EQ(base.tree.extents(base.tree.node(discs.report))[0].position, 80 * kSectorBytes) << "the newer one stays";
  EXPECT_EQ(base.tree.node(discs.report).evidence, Evidence::kTree);
  EXPECT_THAT(finished_paths(base.tree),
              ElementsAre("plans", "plans/drafts", "plans/drafts/one.txt", "plans/report.txt", "plans/sketch.png"));
  EXPECT_EQ(base.tree.node(2).evidence, Evidence::kSession);
  EXPECT_EQ(base.tree.node(3).evidence, Evidence::kSession);
  EXPECT_EQ(base.tree.node(5).evidence, Evidence::kSession);
}

TEST(Supplement, WhatIsWholeStaysAsItIs) {
  TwoSessions discs;
  SessionTree base = discs.supplemented();
  EXPECT_TRUE(base.findings.empty());
  EXPECT_THAT(finished_paths(base.tree), ElementsAre("plans", "plans/report.txt"));
}

TEST(Supplement, AnUnreadRootGetsAllButWhatIsKnown) {
  TwoSessions discs;
  discs.now.tree.edit(kRoot).flags |= node_flag::kUnread;
  SessionTree base = discs.supplemented();
  EXPECT_THAT(finished_paths(base.tree), ElementsAre("deleted since.txt", "plans", "plans/report.txt"))
      << "plans itself could be read, and has no sketch any more";
}

}  // namespace
}  // namespace lacuna
