// SPDX-License-Identifier: GPL-3.0-or-later
// A plan keeps what it promises: after each of its steps the disc is judged anew, with what was read until then.
#include <gtest/gtest.h>

#include <memory>
#include <random>
#include <string>
#include <vector>

#include "lacuna/plan.h"
#include "salvage/hand_disc.h"
#include "support/memory_image.h"

namespace lacuna::test {
namespace {

constexpr std::uint64_t kSectors = 400;

struct Model {
  struct File {
    std::uint64_t size;
    std::vector<Extent> extents;
  };
  std::vector<File> files;
  std::vector<SectorState> states = std::vector<SectorState>(kSectors, SectorState::kGood);
};

Model random_model(std::mt19937& random) {
  const auto below = [&random](std::uint64_t n) { return random() % n; };
  Model m;
  for (std::uint64_t lba = 16; lba < 380;) {
    Model::File f{0, {}};
    for (std::uint64_t extents = 1 + below(2); extents > 0; --extents) {
      // Sometimes into the next file, sometimes behind the end of the image.
      const std::uint64_t bytes = 1 + below(6 * kSectorBytes);
      f.extents.push_back(at_lba(lba, bytes));
      f.size += bytes;
      lba += (bytes - 1) / kSectorBytes + (below(8) == 0 ? 0 : 1 + below(3));
    }
    m.files.push_back(f);
    if (below(10) == 0) m.files.push_back(f);  // under another name
  }
  m.files.push_back({5000, {at_lba(kSectors - 1, 5000)}});
  for (int runs = 0; runs < 25; ++runs) {
    const std::uint64_t first = below(kSectors), count = 1 + below(5);
    for (std::uint64_t lba = first; lba < std::min(kSectors, first + count); ++lba) {
      m.states[lba] = static_cast<SectorState>(2 + below(3));  // suspect, bad, unread
    }
  }
  return m;
}

/// The disc with so many sectors, as they are now.
struct Judged {
  explicit Judged(const Model& m, const std::vector<SectorState>& states, std::uint64_t sectors) {
    MemoryImage memory(numbered_sectors(sectors));
    memory.with_map();
    for (std::uint64_t lba = 0; lba < sectors; ++lba) {
      if (lba < states.size() && states[lba] != SectorState::kGood) memory.mark(lba, 1, states[lba]);
    }
    image = memory.open();
    hand = std::make_unique<HandDisc>(*image);
    for (std::size_t i = 0; i < m.files.size(); ++i) {
      hand->file(numbered("f", 1000 + i), m.files[i].size, m.files[i].extents);
    }
    hand->finish();
    verdicts = std::make_unique<Verdicts>(std::move(judge(hand->disc(), {false, 1, {}})).value());
  }
  std::uint64_t count(FileState s) const { return verdicts->counts()[static_cast<std::size_t>(s)].files; }

  std::unique_ptr<Image> image;
  std::unique_ptr<HandDisc> hand;
  std::unique_ptr<Verdicts> verdicts;
};

class PlanModel : public ::testing::TestWithParam<Medium> {};

TEST_P(PlanModel, EachStepMakesWholeWhatItSays) {
  std::mt19937 random(11);
  for (int round = 0; round < 12; ++round) {
    const Model m = random_model(random);
    const Judged before(m, m.states, kSectors);
    PlanOptions options;
    options.medium = GetParam();
    const Result<Plan> plan = make_plan(before.hand->disc(), *before.verdicts, options);
    ASSERT_TRUE(plan.ok());
    // Reading behind its end makes the image longer.
    std::uint64_t end = kSectors;
    for (const Range& r : plan->ranges) end = std::max(end, r.end);
    std::vector<SectorState> states = m.states;
    states.resize(end, SectorState::kAbsent);
    RangeSet read;
    for (const PlanStep& step : plan->steps) {
      for (const Range& r : plan->ranges_of(step)) {
        EXPECT_FALSE(read.intersects(r)) << "no sector is read twice";
        read.add(r);
        for (std::uint64_t lba = r.first; lba < r.end; ++lba) states[lba] = SectorState::kGood;
      }
      EXPECT_EQ(step.so_far.sectors, read.total());
      const Judged now(m, states, end);
      ASSERT_EQ(now.count(FileState::kWhole), before.count(FileState::kWhole) + step.so_far.files_whole)
          << "round " << round;
      for (const NodeId id : plan->files_of(step)) {
        EXPECT_EQ(now.verdicts->of(id).missing_bytes + now.verdicts->of(id).suspect_bytes, 0U);
        EXPECT_NE(before.verdicts->of(id).missing_bytes + before.verdicts->of(id).suspect_bytes, 0U);
      }
    }
    const Judged all(m, states, end);
    EXPECT_EQ(all.count(FileState::kDamaged) + all.count(FileState::kLost), 0U) << "nothing was left out";
  }
}

INSTANTIATE_TEST_SUITE_P(Media, PlanModel, ::testing::Values(Medium::kCd, Medium::kDvd, Medium::kBd),
                         [](const auto& of) { return std::string(to_string(of.param)); });

}  // namespace
}  // namespace lacuna::test
