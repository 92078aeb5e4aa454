// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/hits.h"

#include <gtest/gtest.h>

#include "salvage/hand_disc.h"
#include "support/memory_image.h"

namespace lacuna {
namespace {

using test::at_lba;
using test::HandDisc;
using test::MemoryImage;
using test::numbered;
using test::numbered_sectors;

Hits hits_of(const Disc& disc) {
  const Result<Verdicts> v = judge(disc, {false, 1, {}});
  EXPECT_TRUE(v.ok());
  return find_hits(disc, *v);
}

/// "name+offset:bytes" of each target, structures as "#index".
std::vector<std::string> targets(const Disc& disc, const Hits& hits, std::size_t hit) {
  std::vector<std::string> all;
  const Hit& h = hits.hits[hit];
  for (std::uint32_t i = h.first_target; i < h.first_target + h.target_count; ++i) {
    const HitTarget& t = hits.targets[i];
    const bool is_file = t.structure == ~std::uint32_t{0};
    std::string name = is_file ? disc.tree().path(t.node) : numbered("#", t.structure);
    all.push_back(name.append(numbered("+", t.offset)).append(numbered(":", t.bytes)));
  }
  return all;
}

using Strings = std::vector<std::string>;

TEST(Hits, RunsNameStructuresAndFilesAndCountIdleSectors) {
  MemoryImage memory(numbered_sectors(60));
  memory.mark(18, 5, SectorState::kBad).mark(30, 2, SectorState::kRepaired).mark(50, 3, SectorState::kSuspect);
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.structure(StructureKind::kDirectory, 17, 4096);
  hand.file("a", 20, 2048);
  hand.file("b", 21, 3000);
  hand.file("same as b", 21, 3000);
  hand.file("repaired", 30, 4096);
  const Disc& disc = hand.finish();
  const Hits hits = hits_of(disc);
  ASSERT_EQ(hits.hits.size(), 2U);
  EXPECT_EQ(hits.hits[0].run, (SectorRun{18, 5, SectorState::kBad}));
  EXPECT_EQ(targets(disc, hits, 0), (Strings{"#0+2048:2048", "a+0:2048", "b+0:3000", "same as b+0:3000"}));
  EXPECT_EQ(hits.hits[0].idle_sectors, 1U);
  EXPECT_EQ(hits.hits[1].run, (SectorRun{50, 3, SectorState::kSuspect}));
  EXPECT_EQ(hits.hits[1].target_count, 0U);
  EXPECT_EQ(hits.hits[1].idle_sectors, 3U);
  EXPECT_TRUE(hits.complete);
}

TEST(Hits, AFileInSeveralPiecesOfOneRunIsOneTarget) {
  MemoryImage memory(numbered_sectors(60));
  memory.mark(20, 10, SectorState::kUnread);
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.file("interleaved", 5 * 2048, {{19 * kSectorBytes, 5 * 2048, 2048, 2048}});
  hand.file("parts", 4096, {at_lba(28, 2048), at_lba(22, 2048)});
  const Disc& disc = hand.finish();
  const Hits hits = hits_of(disc);
  ASSERT_EQ(hits.hits.size(), 1U);
  EXPECT_EQ(targets(disc, hits, 0), (Strings{"interleaved+2048:8192", "parts+0:4096"}));
  EXPECT_EQ(hits.hits[0].idle_sectors, 4U);
}

TEST(Hits, AbsentSectorsCountOnlyWhereSomethingLies) {
  std::vector<std::uint8_t> bytes = numbered_sectors(20, 100);
  bytes.resize(bytes.size() - 1000);
  MemoryImage memory(bytes, 100);
  memory.with_map();
  const auto image = memory.open();
  HandDisc hand(*image);
  hand.structure(StructureKind::kVolumeDescriptor, 16, 2048);
  hand.structure(StructureKind::kPathTable, 99, 4096);
  hand.file("cut", 118, 3 * 2048);
  hand.file("far", 200, 5000);
  const Disc& disc = hand.finish();
  const Hits hits = hits_of(disc);
  ASSERT_EQ(hits.hits.size(), 4U);
  EXPECT_EQ(hits.hits[0].run, (SectorRun{16, 1, SectorState::kAbsent}));
  EXPECT_EQ(hits.hits[1].run, (SectorRun{99, 1, SectorState::kAbsent}));
  EXPECT_EQ(targets(disc, hits, 1), (Strings{"#1+0:2048"}));
  EXPECT_EQ(hits.hits[2].run, (SectorRun{119, 2, SectorState::kAbsent})) << "the sector that was cut is among them";
  EXPECT_EQ(targets(disc, hits, 2), (Strings{"cut+3096:3048"}));
  EXPECT_EQ(hits.hits[3].run, (SectorRun{200, 3, SectorState::kAbsent}));
  EXPECT_EQ(targets(disc, hits, 3), (Strings{"far+0:5000"}));
}

TEST(Hits, ManyFilesOverManyRunsStayBounded) {
  constexpr std::uint64_t kCount = 10'000;
  MemoryImage memory(std::vector<std::uint8_t>(kCount * kSectorBytes));
  for (std::uint64_t lba = 0; lba < kCount; lba += 2) memory.mark(lba, 1, SectorState::kBad);
  const auto image = memory.open();
  HandDisc hand(*image);
  for (std::uint64_t i = 0; i < kCount; ++i) hand.file(std::to_string(i), 0, kCount * kSectorBytes);
  const Hits hits = hits_of(hand.finish());
  EXPECT_FALSE(hits.complete);
  EXPECT_EQ(hits.hits.size(), kCount / 2);
  EXPECT_LE(hits.targets.size(), (std::size_t{1} << 20) + 8 * kCount);
}

}  // namespace
}  // namespace lacuna
