// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/state_grid.h"

#include <gmock/gmock.h>

#include <algorithm>
#include <cmath>
#include <random>

namespace lacuna::report {
namespace {

std::vector<SectorRun> runs_of(const SectorMap& map, std::uint64_t sectors) { return map.slice(0, sectors); }

/// Of all cells, those whose worst state is `state`.
std::vector<Cell> cells_of(const StateGrid& grid, SectorState state) {
  std::vector<Cell> found;
  for (std::uint32_t r = 0; r < grid.rings(); ++r) {
    for (std::uint32_t c = 0; c < grid.cells_a_ring(); ++c) {
      if (grid.at(r, c).worst() == state) found.push_back(grid.place_of(0, r, c));
    }
  }
  return found;
}

/// The slow way: each cell asks the geometry for its sectors, and the map for their states.
TEST(StateGrid, EachCellHasTheWorstStateOfItsSectors) {
  for (const DiscType type : {DiscType::kCd80, DiscType::kDvdDual, DiscType::kDvdRam}) {
    const DiscGeometry geometry(type, 30'000);
    std::mt19937_64 random(7);
    std::vector<SectorRun> marked;
    for (int i = 0; i < 60; ++i) {
      marked.push_back({random() % 30'000, 1 + random() % 200, static_cast<SectorState>(1 + random() % 5)});
    }
    const SectorMap map = SectorMap::from_runs(marked);
    const std::vector<SectorRun> runs = runs_of(map, 30'000);
    for (std::uint32_t layer = 0; layer < geometry.layers().size(); ++layer) {
      const StateGrid grid(geometry, layer, runs, 0.25, 96);
      for (std::uint32_t r = 0; r < grid.rings(); ++r) {
        for (std::uint32_t c = 0; c < grid.cells_a_ring(); ++c) {
          std::optional<SectorState> worst;
          const RangeSet lbas = geometry.lbas_in(grid.place_of(layer, r, c));
          for (const Range& range : lbas.ranges()) {
            for (const SectorRun& run : map.slice(range.first, range.end)) {
              worst = std::max(worst.value_or(SectorState::kGood), run.state);
            }
          }
          ASSERT_EQ(grid.at(r, c).worst(), worst) << to_string(type) << " layer " << layer << ' ' << r << ' ' << c;
        }
      }
    }
  }
}

TEST(StateGrid, OneBadSectorAmongTwelveMillionShows) {
  const DiscGeometry geometry(DiscType::kBd, 12'219'392);
  std::mt19937_64 random(3);
  for (int i = 0; i < 20; ++i) {
    const std::uint64_t lba = random() % geometry.sectors();
    const StateGrid grid(geometry, 0, runs_of(SectorMap::from_runs({{lba, 1, SectorState::kBad}}), geometry.sectors()),
                         0.5, 720);
    const std::vector<Cell> bad = cells_of(grid, SectorState::kBad);
    ASSERT_FALSE(bad.empty());
    const Place p = geometry.place_of(lba);
    EXPECT_LE(bad.front().radius_from_mm, p.radius_mm + 1e-9);
    EXPECT_GE(bad.front().radius_to_mm, p.radius_mm - 1e-9);
    // It is much less than half of the cell.
    for (std::uint32_t r = 0; r < grid.rings(); ++r) {
      for (const GridCell& c : grid.ring(r)) EXPECT_FALSE(c.mostly(SectorState::kBad));
    }
  }
}

TEST(StateGrid, AScratchIsAStraightRadialLine) {
  const DiscGeometry geometry(DiscType::kCd74, 333'000);
  // What a scratch of 2 mm from 30 to 50 mm crosses, at a quarter of a turn.
  std::vector<SectorRun> bad;
  for (std::uint64_t lba = 0; lba < geometry.sectors(); ++lba) {
    const Place p = geometry.place_of(lba);
    if (p.radius_mm < 30 || p.radius_mm > 50) continue;
    const double breadth = 2 / (6.283185307 * p.radius_mm);
    const double from = p.turns - std::floor(p.turns), to = from + geometry.turns_at(0, lba + 1) - p.turns;
    const bool crosses = (from < 0.25 + breadth && to > 0.25) || to > 1.25;
    if (crosses) bad.push_back({lba, 1, SectorState::kBad});
  }
  ASSERT_GT(bad.size(), 10'000u);
  const StateGrid grid(geometry, 0, runs_of(SectorMap::from_runs(bad), geometry.sectors()), 0.5, 720);
  std::uint32_t rings = 0;
  for (std::uint32_t r = 0; r < grid.rings(); ++r) {
    const double radius = grid.place_of(0, r, 0).radius_from_mm, turn = 6.283185307 * radius;
    if (radius < 30 || radius > 49) continue;
    ++rings;
    for (std::uint32_t c = 0; c < grid.cells_a_ring(); ++c) {
      const Cell place = grid.place_of(0, r, c);
      // Every track loses what lies under the scratch. A sector is 16 mm long: none that it crosses reaches further.
      if (place.angle_from > 0.25 && place.angle_to < 0.25 + 2 / turn - 1.0 / 720) {
        EXPECT_TRUE(grid.at(r, c).mostly(SectorState::kBad)) << radius;
      }
      if (place.angle_to < 0.25 - 16 / turn || place.angle_from > 0.25 + 18 / turn) {
        EXPECT_EQ(grid.at(r, c).worst(), SectorState::kGood) << radius << ' ' << place.angle_from;
      }
      // Half of the tracks, and so the full colour, reach about half as far.
      if (place.angle_to < 0.25 - 12 / turn || place.angle_from > 0.25 + 14 / turn) {
        EXPECT_FALSE(grid.at(r, c).mostly(SectorState::kBad)) << radius << ' ' << place.angle_from;
      }
    }
  }
  EXPECT_GE(rings, 36u);
}

TEST(StateGrid, ARimGoneBadIsARing) {
  const DiscGeometry geometry(DiscType::kDvd, 2'200'000);
  const std::uint64_t rim = *geometry.lba_at(0, geometry.turns_at_radius(0, 55));
  const StateGrid grid(geometry, 0,
                       runs_of(SectorMap::from_runs({{rim, 2'200'000 - rim, SectorState::kBad}}), 2'200'000), 0.5, 720);
  for (std::uint32_t r = 0; r < grid.rings(); ++r) {
    const Cell place = grid.place_of(0, r, 0);
    if (place.radius_to_mm > geometry.layers()[0].end_radius) continue;
    for (const GridCell& c : grid.ring(r)) {
      if (place.radius_from_mm > 55.001) {
        EXPECT_TRUE(c.mostly(SectorState::kBad));
      } else if (place.radius_to_mm < 54.999) {
        EXPECT_EQ(c.worst(), SectorState::kGood);
      }
    }
  }
}

TEST(StateGrid, ShareCountsTheStateAndWorse) {
  // The first ring of a CD in 0.5 mm has 312 turns. 40 % bad and 20 % unread: more than half is bad or worse.
  const DiscGeometry geometry(DiscType::kCd74, 100'000);
  const std::uint64_t start = *geometry.lba_at(0, geometry.turns_at_radius(0, 26.0) + 0.01);
  const std::uint64_t ring = *geometry.lba_at(0, geometry.turns_at_radius(0, 26.5) - 0.01) - start;
  const SectorMap map = SectorMap::from_runs({{start + ring * 2 / 10, ring * 4 / 10, SectorState::kBad},
                                              {start + ring * 6 / 10, ring * 2 / 10, SectorState::kUnread}});
  const StateGrid grid(geometry, 0, runs_of(map, 100'000), 0.5, 12);
  const GridCell& cell = grid.at(2, 5);
  EXPECT_TRUE(cell.has(SectorState::kGood));
  EXPECT_TRUE(cell.has(SectorState::kBad));
  EXPECT_TRUE(cell.mostly(SectorState::kBad));
  EXPECT_TRUE(cell.has(SectorState::kUnread));
  EXPECT_FALSE(cell.mostly(SectorState::kUnread));
  EXPECT_EQ(cell.worst(), SectorState::kUnread);
}

TEST(StateGrid, NothingAndTooMuch) {
  const DiscGeometry none(DiscType::kCd74, 0);
  const StateGrid empty(none, 0, {}, 0.5, 720);
  EXPECT_TRUE(std::ranges::all_of(empty.ring(0), &GridCell::empty));

  // More sectors than 2^32 in one run, squeezed; and a run that goes on behind the end.
  const DiscGeometry vast(DiscType::kBdQuad, std::uint64_t{1} << 40);
  const std::vector<SectorRun> runs{{0, std::uint64_t{1} << 62, SectorState::kUnread}};
  for (std::uint32_t layer = 0; layer < vast.layers().size(); ++layer) {
    const StateGrid grid(vast, layer, runs, 0.5, 720);
    EXPECT_FALSE(cells_of(grid, SectorState::kUnread).empty());
    EXPECT_TRUE(cells_of(grid, SectorState::kGood).empty());
  }
}

}  // namespace
}  // namespace lacuna::report
