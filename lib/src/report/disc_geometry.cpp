// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/disc_geometry.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "lacuna/plan.h"

namespace lacuna::report {
namespace {

using std::numbers::pi;

/// Writers go this far beyond the standard's limit before a blank disc ends (common practice, no source).
constexpr double kOverburn_mm = 0.7;

double squared(double x) { return x * x; }
double square_root(double x) { return std::sqrt(std::max(x, 0.0)); }

std::uint64_t rounded_up(std::uint64_t number, std::uint64_t unit) { return (number + unit - 1) / unit * unit; }

}  // namespace

DiscGeometry::DiscGeometry(DiscType type, std::uint64_t sectors, std::optional<std::uint64_t> layer_break)
    : measures_(measures_of(type)),
      sectors_(std::min(sectors, std::uint64_t{1} << 62)),
      pitch_(measures_.pitch),
      sector_(measures_.sector) {
  share_out(layer_break);
  make_fit();
  place_layers();
}

DiscGeometry DiscGeometry::with_winding(double sector_mm, double pitch_mm) const {
  DiscGeometry other = *this;
  other.sector_ = sector_mm;
  other.pitch_ = pitch_mm;
  other.place_layers();
  return other;
}

/// Which sectors are on which layer.
void DiscGeometry::share_out(std::optional<std::uint64_t> layer_break) {
  std::uint64_t a_layer = measures_.layer_sectors;
  if (measures_.layer_break_is_set) {
    a_layer = layer_break.value_or(rounded_up(sectors_ / 2 + sectors_ % 2, block_sectors(measures_.medium)));
    a_layer = std::max<std::uint64_t>(a_layer, 1);
  }
  for (std::uint32_t i = 0; i < measures_.layers; ++i) {
    LayerTrack track;
    track.first_lba = layers_.empty() ? 0 : layers_.back().end_lba;
    const std::uint64_t left = sectors_ - track.first_lba;
    track.end_lba = i + 1 == measures_.layers ? sectors_ : track.first_lba + std::min(a_layer, left);
    track.inward = measures_.opposite && i % 2 == 1;
    if (i == 0 || left != 0) layers_.push_back(track);
  }
}

void DiscGeometry::make_fit() {
  double most = static_cast<double>(measures_.lead_sectors), before = 0;
  for (const LayerTrack& track : layers_) {
    const auto count = static_cast<double>(track.end_lba - track.first_lba);
    most = std::max(most, count + (track.first_lba == 0 ? measures_.lead_sectors : 0));
    // The outer layer is recorded as far out as the inner one, so it can't hold more.
    if (track.inward && count > before) fits_ = false;
    before = count;
  }
  if (measures_.zones != 0) {
    const double zones = measures_.zones, a_turn = zones * measures_.first_zone_sectors + zones * (zones - 1) / 2;
    fits_ = sectors_ <= measures_.layer_sectors;
    zone_turns_ = std::max(static_cast<double>(measures_.layer_sectors), most) / a_turn;
    pitch_ = (measures_.outer - measures_.inner) / (zones * zone_turns_);
    return;
  }
  const double room = pi * (squared(measures_.outer + kOverburn_mm) - squared(measures_.inner)) / pitch_;
  if (most * sector_ <= room) return;
  fits_ = false;
  sector_ = pi * (squared(measures_.outer) - squared(measures_.inner)) / pitch_ / most;
}

void DiscGeometry::place_layers() {
  const double inner = measures_.inner;
  double last_end = inner;
  for (LayerTrack& track : layers_) {
    const auto count = static_cast<double>(track.end_lba - track.first_lba);
    const double lead = track.first_lba == 0 ? measures_.lead_sectors : 0;
    track.start_radius = square_root(squared(inner) + lead * sector_ * pitch_ / pi);
    if (track.inward) {
      // Where it would end inside of the area, it begins further out than it can.
      track.start_radius = std::max(last_end, square_root(squared(inner) + count * sector_ * pitch_ / pi));
    }
    const double turns = turns_of(track, count);
    track.end_radius = track.start_radius + (track.inward ? -pitch_ : pitch_) * turns;
    last_end = track.end_radius;
  }
}

double DiscGeometry::turns_of(const LayerTrack& track, double sectors) const noexcept {
  if (measures_.zones != 0) {
    double turns = 0, a_turn = measures_.first_zone_sectors;
    for (std::uint32_t zone = 0; zone + 1 < measures_.zones && sectors > a_turn * zone_turns_; ++zone) {
      sectors -= a_turn * zone_turns_;
      turns += zone_turns_;
      a_turn += 1;
    }
    return turns + sectors / a_turn;
  }
  const double area = sectors * sector_ * pitch_ / pi, start = track.start_radius;
  // (end - start) / pitch, without the difference of nearly equal numbers.
  const double end = square_root(squared(start) + (track.inward ? -area : area));
  return area / (start + end) / pitch_;
}

double DiscGeometry::sectors_of(const LayerTrack& track, double turns) const noexcept {
  if (measures_.zones != 0) {
    double sectors = 0, a_turn = measures_.first_zone_sectors;
    for (std::uint32_t zone = 0; zone + 1 < measures_.zones && turns > zone_turns_; ++zone) {
      sectors += a_turn * zone_turns_;
      turns -= zone_turns_;
      a_turn += 1;
    }
    return sectors + turns * a_turn;
  }
  const double bend = track.inward ? -pitch_ : pitch_;
  return pi * turns * (2 * track.start_radius + bend * turns) / sector_;
}

std::uint32_t DiscGeometry::layer_of(std::uint64_t lba) const noexcept {
  std::uint32_t layer = 0;
  while (layer + 1 < layers_.size() && lba >= layers_[layer].end_lba) ++layer;
  return layer;
}

double DiscGeometry::turns_at(std::uint32_t layer, std::uint64_t lba) const noexcept {
  const LayerTrack& track = layers_[layer];
  return turns_of(track, static_cast<double>(lba - track.first_lba));
}

double DiscGeometry::radius_at(std::uint32_t layer, double turns) const noexcept {
  const LayerTrack& track = layers_[layer];
  return track.start_radius + (track.inward ? -pitch_ : pitch_) * turns;
}

double DiscGeometry::turns_at_radius(std::uint32_t layer, double radius_mm) const noexcept {
  const LayerTrack& track = layers_[layer];
  return (track.inward ? track.start_radius - radius_mm : radius_mm - track.start_radius) / pitch_;
}

Place DiscGeometry::place_of(std::uint64_t lba) const {
  const std::uint32_t layer = layer_of(lba);
  const double turns = turns_at(layer, lba);
  return {layer, radius_at(layer, turns), turns};
}

std::optional<std::uint64_t> DiscGeometry::lba_at(std::uint32_t layer, double turns) const noexcept {
  const LayerTrack& track = layers_[layer];
  if (turns < 0 || turns >= turns_at(layer, track.end_lba)) return {};
  const auto count = static_cast<double>(track.end_lba - track.first_lba);
  std::uint64_t lba =
      track.first_lba + static_cast<std::uint64_t>(std::clamp(std::floor(sectors_of(track, turns)), 0.0, count - 1));
  // A sector begins where turns_at() says; the way back is exact but for rounding.
  while (lba > track.first_lba && turns_at(layer, lba) > turns) --lba;
  while (lba + 1 < track.end_lba && turns_at(layer, lba + 1) <= turns) ++lba;
  return lba;
}

RangeSet DiscGeometry::lbas_in(const Cell& cell) const {
  RangeSet found;
  const LayerTrack& track = layers_[cell.layer];
  const double end = turns_at(cell.layer, track.end_lba);
  double from = turns_at_radius(cell.layer, cell.radius_from_mm), to = turns_at_radius(cell.layer, cell.radius_to_mm);
  if (track.inward) std::swap(from, to);
  from = std::max(from, 0.0);
  to = std::min(to, end);
  const auto add = [&](double first_turns, double end_turns) {
    if (first_turns >= end_turns) return;
    const std::optional<std::uint64_t> first = lba_at(cell.layer, first_turns), last = lba_at(cell.layer, end_turns);
    if (!first) return;
    // The sector that begins just where the cell ends is not in it.
    const bool open = last && turns_at(cell.layer, *last) < end_turns;
    found.add({*first, last ? *last + (open ? 1 : 0) : track.end_lba});
  };
  if (cell.angle_from <= 0 && cell.angle_to >= 1) {
    add(from, to);
    return found;
  }
  for (double turn = std::floor(from); turn < to; turn += 1) {
    add(std::max(from, turn + cell.angle_from), std::min(to, turn + cell.angle_to));
  }
  return found;
}

}  // namespace lacuna::report
