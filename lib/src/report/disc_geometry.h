// SPDX-License-Identifier: GPL-3.0-or-later
// DiscGeometry: from LBAs to places on a disc and back. A track of constant linear density covers an area of its length
// times the pitch, so the square of the radius grows by length * pitch / pi; the radius grows by the pitch a turn.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/range_set.h"
#include "report/disc_type.h"

namespace lacuna::report {

/// The fraction of `turns` is the angle, from wherever the layer's track begins: what that is on the disc itself, an
/// image does not tell. Seen from the side that is read, angles grow clockwise (ECMA-130 and ECMA-267: the disc turns
/// counter-clockwise as its drive's optics see it; from memory).
struct Place {
  std::uint32_t layer = 0;  ///< From 0, the one that is read first.
  double radius_mm = 0;
  double turns = 0;  ///< Of the layer's track, from its start.
};

/// A piece of a ring. Angles in turns, 0 <= angle_from < angle_to <= 1.
struct Cell {
  std::uint32_t layer = 0;
  double radius_from_mm = 0, radius_to_mm = 0;
  double angle_from = 0, angle_to = 1;
};

/// One layer's track.
struct LayerTrack {
  std::uint64_t first_lba = 0, end_lba = 0;
  bool inward = false;      ///< From the outside in.
  double start_radius = 0;  ///< mm, of first_lba.
  double end_radius = 0;    ///< mm, behind the last sector.
};

/// Constant once built; safe for concurrent use.
class DiscGeometry {
 public:
  /// Of a disc that holds `sectors`. `layer_break`: LBA at which the second layer begins, where the writer can choose
  /// it; without it, half of the sectors, as programs that write such discs do (common practice, no source). More
  /// sectors than the type holds are squeezed in, see fits().
  DiscGeometry(DiscType type, std::uint64_t sectors, std::optional<std::uint64_t> layer_break = {});

  const DiscMeasures& measures() const noexcept { return measures_; }
  std::uint64_t sectors() const noexcept { return sectors_; }
  /// At least one; layers without sectors are left out.
  const std::vector<LayerTrack>& layers() const noexcept { return layers_; }
  double pitch_mm() const noexcept { return pitch_; }
  double sector_mm() const noexcept { return sector_; }  ///< 0 of a disc in zones.
  /// False when no such disc holds so many sectors, or not so on its layers. They are then made shorter until they fit:
  /// places are only in the right order.
  bool fits() const noexcept { return fits_; }
  /// The same sectors on a track that is wound otherwise, see spiral_fit.h. Not of a disc in zones.
  DiscGeometry with_winding(double sector_mm, double pitch_mm) const;

  /// Where a sector begins. lba < sectors().
  Place place_of(std::uint64_t lba) const;
  /// Index of the layer. lba < sectors().
  std::uint32_t layer_of(std::uint64_t lba) const noexcept;
  /// Turns from the start of the layer's track to where the sector begins; also for lba == the layer's end.
  double turns_at(std::uint32_t layer, std::uint64_t lba) const noexcept;
  double radius_at(std::uint32_t layer, double turns) const noexcept;
  /// At which the track has this radius, even before its start (negative) and behind its end.
  double turns_at_radius(std::uint32_t layer, double radius_mm) const noexcept;
  /// The sector that lies there; nothing before the track's start and behind its end.
  std::optional<std::uint64_t> lba_at(std::uint32_t layer, double turns) const noexcept;
  /// Every sector of which some part is in the cell, ascending.
  RangeSet lbas_in(const Cell& cell) const;

 private:
  void share_out(std::optional<std::uint64_t> layer_break);
  void make_fit();
  void place_layers();
  /// Sectors, and parts of one, from the start of a track to `turns`; and back.
  double sectors_of(const LayerTrack& track, double turns) const noexcept;
  double turns_of(const LayerTrack& track, double sectors) const noexcept;

  DiscMeasures measures_;
  std::uint64_t sectors_;
  double pitch_, sector_;
  double zone_turns_ = 0;  ///< Of each zone.
  bool fits_ = true;
  std::vector<LayerTrack> layers_;
};

}  // namespace lacuna::report
