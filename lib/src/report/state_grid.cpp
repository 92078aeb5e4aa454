// SPDX-License-Identifier: GPL-3.0-or-later
// A run of sectors is a stretch of turns. Within a ring it covers cells one after the other, all of them once a turn;
// so each ring only notes where stretches begin and end, and sums up when it is done.
#include "report/state_grid.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace lacuna::report {
namespace {

constexpr double kEdge_mm = 1e-9;  ///< Less than any track: radii that only rounding sets apart.

}  // namespace

std::optional<SectorState> GridCell::worst() const noexcept {
  for (int s = kSectorStateCount; s-- > 0;) {
    if (has(static_cast<SectorState>(s))) return static_cast<SectorState>(s);
  }
  return {};
}

/// Takes stretches of one layer in the order of their turns.
class GridFiller {
 public:
  GridFiller(StateGrid& grid, const DiscGeometry& geometry, std::uint32_t layer)
      : grid_(grid),
        geometry_(geometry),
        layer_(layer),
        inward_(geometry.layers()[layer].inward),
        ring_(inward_ ? grid.rings() - 1 : 0),
        steps_(kSectorStateCount * stride()) {
    ring_end_ = end_of_ring();
  }

  void add(SectorState state, double from, double to) {
    while (to > ring_end_ && !is_last_ring()) {
      put(state, from, ring_end_);
      from = std::max(from, ring_end_);
      finish_ring();
      ring_ = inward_ ? ring_ - 1 : ring_ + 1;
      ring_end_ = end_of_ring();
    }
    put(state, from, to);
  }

  void finish_ring() {
    std::array<std::int64_t, kSectorStateCount> now = whole_turns_;
    for (std::uint32_t cell = 0; cell < grid_.cells_; ++cell) {
      std::int64_t all = 0;
      for (std::size_t s = 0; s < now.size(); ++s) all += now[s] += steps_[s * stride() + cell];
      GridCell& c = grid_.grid_[static_cast<std::size_t>(ring_) * grid_.cells_ + cell];
      std::int64_t worse = 0;
      for (std::size_t s = now.size(); s-- > 0;) {
        worse += now[s];
        if (now[s] == 0) continue;
        c.present_ |= GridCell::bit(static_cast<SectorState>(s));
        if (2 * worse >= all) c.mostly_ |= GridCell::bit(static_cast<SectorState>(s));
      }
    }
    std::ranges::fill(steps_, 0);
    whole_turns_ = {};
  }

 private:
  std::size_t stride() const noexcept { return grid_.cells_ + std::size_t{1}; }
  bool is_last_ring() const noexcept { return ring_ == (inward_ ? 0 : grid_.rings() - 1); }
  double end_of_ring() const noexcept {
    return geometry_.turns_at_radius(layer_, grid_.inner_ + grid_.ring_mm_ * (inward_ ? ring_ : ring_ + 1));
  }

  void put(SectorState state, double from, double to) {
    if (from >= to) return;
    const auto s = static_cast<std::size_t>(state);
    const auto first = static_cast<std::int64_t>(std::floor(from * grid_.cells_));
    // Every cell that it touches.
    const auto count = std::max<std::int64_t>(static_cast<std::int64_t>(std::ceil(to * grid_.cells_)) - first, 1);
    whole_turns_[s] += count / grid_.cells_;
    const std::int64_t begin = first % grid_.cells_, end = begin + count % grid_.cells_;
    std::int64_t* const steps = &steps_[s * stride()];
    ++steps[begin];
    --steps[std::min<std::int64_t>(end, grid_.cells_)];
    if (end > grid_.cells_) {
      ++steps[0];
      --steps[end - grid_.cells_];
    }
  }

  StateGrid& grid_;
  const DiscGeometry& geometry_;
  std::uint32_t layer_;
  bool inward_;
  std::uint32_t ring_;
  double ring_end_ = 0;              ///< In turns.
  std::vector<std::int64_t> steps_;  ///< By state and cell: how many more than one cell before.
  std::array<std::int64_t, kSectorStateCount> whole_turns_{};  ///< That cover all cells.
};

StateGrid::StateGrid(const DiscGeometry& geometry, std::uint32_t layer, std::span<const SectorRun> runs, double ring_mm,
                     std::uint32_t cells_a_ring)
    : cells_(cells_a_ring) {
  const LayerTrack& track = geometry.layers()[layer];
  inner_ = geometry.measures().inner;
  const double breadth = std::max({track.start_radius, track.end_radius, geometry.measures().outer}) - inner_;
  rings_ = static_cast<std::uint32_t>(std::max(1.0, std::round(breadth / ring_mm)));
  ring_mm_ = (breadth + kEdge_mm) / rings_;
  grid_.resize(static_cast<std::size_t>(rings_) * cells_);

  GridFiller filler(*this, geometry, layer);
  auto run = std::ranges::upper_bound(runs, track.first_lba, {}, &SectorRun::end);
  for (; run != runs.end() && run->first < track.end_lba; ++run) {
    filler.add(run->state, geometry.turns_at(layer, std::max(run->first, track.first_lba)),
               geometry.turns_at(layer, std::min(run->end(), track.end_lba)));
  }
  filler.finish_ring();
}

Cell StateGrid::place_of(std::uint32_t layer, std::uint32_t ring, std::uint32_t cell) const noexcept {
  Cell place;
  place.layer = layer;
  place.radius_from_mm = inner_ + ring_mm_ * ring;
  place.radius_to_mm = inner_ + ring_mm_ * (ring + 1);
  place.angle_from = static_cast<double>(cell) / cells_;
  place.angle_to = static_cast<double>(cell + 1) / cells_;
  return place;
}

}  // namespace lacuna::report
