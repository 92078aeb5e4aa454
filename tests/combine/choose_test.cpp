// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/choose.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "support/memory_image.h"

namespace lacuna {
namespace {

using Content = std::vector<std::uint8_t>;

/// Candidates in the order in which they are added.
class Sector {
 public:
  Sector& add(const Content& bytes, SectorState state, Basis basis = Basis::kMap, bool proven = false) {
    contents_.push_back(std::make_unique<Content>(bytes));
    candidates_.push_back({*contents_.back(), state, proven, basis, static_cast<std::uint8_t>(candidates_.size())});
    return *this;
  }
  Sector& good(const Content& bytes, Basis basis = Basis::kMap) { return add(bytes, SectorState::kGood, basis); }
  Sector& proven(const Content& bytes, SectorState state = SectorState::kGood) {
    return add(bytes, state, Basis::kEdc, true);
  }
  Sector& without(SectorState state) { return add(Content(kSectorBytes), state); }
  Choice choose() const { return lacuna::choose(candidates_); }

 private:
  std::vector<std::unique_ptr<Content>> contents_;
  std::vector<Candidate> candidates_;
};

const Content kTrue = test::numbered_sector(7);
const Content kGarbage = test::numbered_sector(8);
const Content kOtherGarbage = test::numbered_sector(9);
const Content kFilled(kSectorBytes, 0x5a);

TEST(Choose, OneProvenSectorOutweighsAnyNumberOfReadsThatOnlySayGood) {
  const Choice c = Sector().good(kGarbage).good(kGarbage).proven(kTrue).choose();
  EXPECT_EQ(c.state, SectorState::kGood);
  EXPECT_EQ(c.how, Settled::kProven);
  EXPECT_EQ(c.basis, Basis::kEdc);
  EXPECT_EQ(c.taken, 2);
  EXPECT_EQ(c.agreeing, 0b100U);
  EXPECT_EQ(c.against, 0b011U);
}

TEST(Choose, AsReadOutweighsRepaired) {
  const Choice c = Sector().proven(kGarbage, SectorState::kRepaired).proven(kTrue).choose();
  EXPECT_EQ(c.how, Settled::kProven);
  EXPECT_EQ(c.taken, 1);
}

TEST(Choose, RepairedOutweighsGoodThatNothingProves) {
  const Choice c = Sector().good(kGarbage).good(kGarbage).proven(kTrue, SectorState::kRepaired).choose();
  EXPECT_EQ(c.state, SectorState::kRepaired);
  EXPECT_EQ(c.how, Settled::kRepaired);
  EXPECT_EQ(c.taken, 2);
}

TEST(Choose, TwoProofsThatDifferAreAConflict) {
  const Choice c = Sector().proven(kTrue).proven(kGarbage).choose();
  EXPECT_EQ(c.state, SectorState::kSuspect);
  EXPECT_EQ(c.how, Settled::kConflict);
}

TEST(Choose, TwoThatAgreeAreGoodOnTheBetterBasisOfTheTwo) {
  const Choice c = Sector().good(kTrue, Basis::kAssumed).good(kTrue, Basis::kMap).choose();
  EXPECT_EQ(c.how, Settled::kAgreed);
  EXPECT_EQ(c.basis, Basis::kMap);
  EXPECT_EQ(c.agreeing, 0b11U);
}

TEST(Choose, TwoWithoutMapsMayBeCopiesOfOneAndStayAssumed) {
  EXPECT_EQ(Sector().good(kTrue, Basis::kAssumed).good(kTrue, Basis::kAssumed).choose().basis, Basis::kAssumed);
}

TEST(Choose, TwoWithoutMapsThatAgreeOnFillProveNothing) {
  const Choice c = Sector().good(kFilled, Basis::kAssumed).good(kFilled, Basis::kAssumed).choose();
  EXPECT_EQ(c.state, SectorState::kGood);
  EXPECT_EQ(c.basis, Basis::kAssumed);
}

TEST(Choose, OneAloneKeepsItsBasis) {
  EXPECT_EQ(Sector().good(kTrue).without(SectorState::kBad).choose().basis, Basis::kMap);
  const Choice c = Sector().without(SectorState::kBad).good(kTrue, Basis::kAssumed).choose();
  EXPECT_EQ(c.how, Settled::kAlone);
  EXPECT_EQ(c.basis, Basis::kAssumed);
  EXPECT_EQ(c.taken, 1);
}

TEST(Choose, TwoThatDifferAreAConflict) {
  const Choice c = Sector().good(kTrue).good(kGarbage).choose();
  EXPECT_EQ(c.state, SectorState::kSuspect);
  EXPECT_EQ(c.how, Settled::kConflict);
  EXPECT_EQ(c.agreeing | c.against, 0b11U);
}

TEST(Choose, MajorityOfThreeDecidesAndNamesWhoIsAgainst) {
  const Choice c = Sector().good(kGarbage).good(kTrue).good(kTrue).choose();
  EXPECT_EQ(c.state, SectorState::kGood);
  EXPECT_EQ(c.how, Settled::kMajority);
  EXPECT_EQ(c.taken, 1);
  EXPECT_EQ(c.against, 0b001U);
}

TEST(Choose, HalfIsNoMajority) {
  EXPECT_EQ(Sector().good(kTrue).good(kTrue).good(kGarbage).good(kGarbage).choose().how, Settled::kConflict);
  EXPECT_EQ(Sector().good(kTrue).good(kTrue).good(kGarbage).good(kOtherGarbage).choose().how, Settled::kConflict);
  EXPECT_EQ(Sector().good(kTrue).good(kGarbage).good(kOtherGarbage).choose().how, Settled::kConflict);
}

TEST(Choose, FillOfAReadWithoutMapIsSuspectWhereAnotherFailed) {
  const Choice c = Sector().good(kFilled, Basis::kAssumed).without(SectorState::kBad).choose();
  EXPECT_EQ(c.state, SectorState::kSuspect);
  EXPECT_EQ(c.how, Settled::kFill);
}

TEST(Choose, FillOfAReadWithoutMapSpeaksAgainstNobody) {
  const Choice c = Sector().good(kFilled, Basis::kAssumed).good(kTrue, Basis::kAssumed).choose();
  EXPECT_EQ(c.state, SectorState::kGood);
  EXPECT_EQ(c.how, Settled::kAlone);
  EXPECT_EQ(c.taken, 1);
  EXPECT_EQ(c.against, 0U);
}

TEST(Choose, FillThatAMapVouchesForIsDataLikeAnyOther) {
  EXPECT_EQ(Sector().good(kFilled).without(SectorState::kBad).choose().how, Settled::kAlone);
  EXPECT_EQ(Sector().good(kFilled).good(kTrue).choose().how, Settled::kConflict);
}

TEST(Choose, SuspectIsTakenOnlyWhenNothingBetterIsThere) {
  EXPECT_EQ(Sector().add(kGarbage, SectorState::kSuspect).good(kTrue).choose().taken, 1);
  EXPECT_EQ(Sector().add(kGarbage, SectorState::kSuspect).good(kTrue).choose().against, 0U);
  const Choice c = Sector().without(SectorState::kBad).add(kTrue, SectorState::kSuspect).choose();
  EXPECT_EQ(c.state, SectorState::kSuspect);
  EXPECT_EQ(c.how, Settled::kSuspect);
}

TEST(Choose, WithoutBytesTheStateSaysWhatWasTried) {
  EXPECT_EQ(Sector().without(SectorState::kUnread).without(SectorState::kBad).choose().state, SectorState::kBad);
  EXPECT_EQ(Sector().without(SectorState::kAbsent).without(SectorState::kUnread).choose().state, SectorState::kUnread);
  const Choice c = Sector().without(SectorState::kAbsent).choose();
  EXPECT_EQ(c.state, SectorState::kAbsent);
  EXPECT_EQ(c.how, Settled::kMissing);
}

}  // namespace
}  // namespace lacuna
