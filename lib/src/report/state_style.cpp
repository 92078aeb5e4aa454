// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/state_style.h"

#include <fmt/format.h>

#include <cmath>

namespace lacuna::report {
namespace {

// The same numbers stand in svg_shapes(). Slanting lines meet their neighbours at the tile's edges.
constexpr double kLine = 0.32, kDot = 0.34, kSmallDot = 0.16;

double in_tile(double x) noexcept { return x - kMarkTile * std::floor(x / kMarkTile); }

/// In a band around the tile's middle.
bool in_band(double x) noexcept { return std::abs(in_tile(x) - kMarkTile / 2) < kLine / 2; }

/// Of slanting lines the distance is measured across them.
bool in_slant(double x) noexcept {
  const double off = in_tile(x);
  return std::min(off, kMarkTile - off) / std::sqrt(2.0) < kLine / 2;
}

bool in_dot(double x, double y, double radius) noexcept {
  return std::hypot(in_tile(x) - kMarkTile / 2, in_tile(y) - kMarkTile / 2) < radius;
}

}  // namespace

std::string hex(Colour c) { return fmt::format("#{:02x}{:02x}{:02x}", c.red, c.green, c.blue); }

bool covers(Mark mark, double x, double y) noexcept {
  switch (mark) {
    case Mark::kNone:
      return false;
    case Mark::kDots:
      return in_dot(x, y, kDot);
    case Mark::kCrossLines:
      return in_band(x) || in_band(y);
    case Mark::kHatching:
      return in_slant(x + y);
    case Mark::kBars:
      return in_band(y);
    case Mark::kLattice:
      return in_slant(x + y) || in_slant(x - y);
    case Mark::kSparseDots:
      return in_dot(x, y, kSmallDot);
  }
  return false;
}

std::string_view svg_shapes(Mark mark) noexcept {
  switch (mark) {
    case Mark::kNone:
      break;
    case Mark::kDots:
      return R"(<circle cx=".8" cy=".8" r=".34" stroke="none"/>)";
    case Mark::kCrossLines:
      return R"(<path d="M0 .8H1.6M.8 0V1.6" stroke-width=".32"/>)";
    case Mark::kHatching:
      return R"(<path d="M-.2 .2L.2-.2M-.2 1.8L1.8-.2M1.4 1.8L1.8 1.4" stroke-width=".32"/>)";
    case Mark::kBars:
      return R"(<path d="M0 .8H1.6" stroke-width=".32"/>)";
    case Mark::kLattice:
      return R"(<path d="M-.2 .2L.2-.2M-.2 1.8L1.8-.2M1.4 1.8L1.8 1.4M-.2 1.4L.2 1.8M-.2-.2L1.8 1.8M1.4-.2L1.8 .2")"
             R"( stroke-width=".32"/>)";
    case Mark::kSparseDots:
      return R"(<circle cx=".8" cy=".8" r=".16" stroke="none"/>)";
  }
  return {};
}

}  // namespace lacuna::report
