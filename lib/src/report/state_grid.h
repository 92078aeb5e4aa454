// SPDX-License-Identifier: GPL-3.0-or-later
// StateGrid: a layer of a disc cut into rings and these into cells, and which states the sectors of each cell have.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "lacuna/sector_map.h"
#include "report/disc_geometry.h"

namespace lacuna::report {

/// The states of the sectors that have some part of their track in a cell: no sector is left out, however few it is.
class GridCell {
 public:
  bool empty() const noexcept { return present_ == 0; }
  bool has(SectorState s) const noexcept { return (present_ & bit(s)) != 0; }
  /// True when half or more of the track there has this state or a worse one.
  bool mostly(SectorState s) const noexcept { return (mostly_ & bit(s)) != 0; }
  /// Nothing for a cell without sectors.
  std::optional<SectorState> worst() const noexcept;
  friend bool operator==(const GridCell&, const GridCell&) = default;

 private:
  friend class GridFiller;
  static std::uint8_t bit(SectorState s) noexcept { return static_cast<std::uint8_t>(1U << static_cast<unsigned>(s)); }

  std::uint8_t present_ = 0, mostly_ = 0;
};

/// Constant once built; safe for concurrent use.
class StateGrid {
 public:
  /// Of the layer's part of `runs`, which are ascending and disjoint; LBAs beyond the geometry's are passed over. Rings
  /// are about `ring_mm` broad. Linear in runs plus cells.
  StateGrid(const DiscGeometry& geometry, std::uint32_t layer, std::span<const SectorRun> runs, double ring_mm,
            std::uint32_t cells_a_ring);

  std::uint32_t rings() const noexcept { return rings_; }
  std::uint32_t cells_a_ring() const noexcept { return cells_; }
  double ring_mm() const noexcept { return ring_mm_; }
  double inner_mm() const noexcept { return inner_; }
  double outer_mm() const noexcept { return inner_ + ring_mm_ * rings_; }
  /// Rings from the inside out; cells by angle, see Place.
  const GridCell& at(std::uint32_t ring, std::uint32_t cell) const noexcept {
    return grid_[static_cast<std::size_t>(ring) * cells_ + cell];
  }
  std::span<const GridCell> ring(std::uint32_t ring) const noexcept {
    return std::span(grid_).subspan(static_cast<std::size_t>(ring) * cells_, cells_);
  }
  Cell place_of(std::uint32_t layer, std::uint32_t ring, std::uint32_t cell) const noexcept;

 private:
  friend class GridFiller;
  double inner_, ring_mm_;
  std::uint32_t rings_, cells_;
  std::vector<GridCell> grid_;
};

}  // namespace lacuna::report
