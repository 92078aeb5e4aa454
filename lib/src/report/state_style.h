// SPDX-License-Identifier: GPL-3.0-or-later
// How sector states look, in the picture of a disc and on a page: a colour and a mark each, so that no state is told by
// its colour alone. The colours are the project's own. They grow darker from good to absent but for unread, which is
// blue, and keep apart for people who don't see red or green, and in black and white
// (tests/report/state_style_test.cpp).
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "lacuna/states.h"

namespace lacuna::report {

struct Colour {
  std::uint8_t red = 0, green = 0, blue = 0;
  friend constexpr bool operator==(const Colour&, const Colour&) = default;
};
/// "#rrggbb"
std::string hex(Colour colour);

/// What is drawn over a colour. Marks are made of a square tile of kMarkTile that repeats.
enum class Mark : std::uint8_t {
  kNone,
  kDots,
  kCrossLines,  ///< Level and upright lines.
  kHatching,    ///< Slanting lines, rising to the right.
  kBars,        ///< Level lines.
  kLattice,     ///< Slanting lines, both ways.
  kSparseDots,
};
inline constexpr double kMarkTile = 1.6;  ///< mm, where a disc is drawn as large as it is.
/// Whether the mark covers a point, in mm from anywhere, downward in y.
bool covers(Mark mark, double x, double y) noexcept;
/// The mark's shapes in one tile, as SVG in units of mm; they take the colour of `stroke` and `fill` around them.
std::string_view svg_shapes(Mark mark) noexcept;

struct StateStyle {
  std::string_view word;     ///< to_string(SectorState), or "not on this disc".
  std::string_view meaning;  ///< For a legend.
  Colour fill;
  Colour ink;  ///< Of the mark.
  Mark mark = Mark::kNone;
};

/// By SectorState.
inline constexpr std::array<StateStyle, kSectorStateCount> kStateStyles{{
    {"good", "read without error", {0xe9, 0xed, 0xf1}, {0xe9, 0xed, 0xf1}, Mark::kNone},
    {"repaired", "read with errors, which were corrected", {0x5f, 0xb8, 0xb6}, {0x0b, 0x4f, 0x52}, Mark::kDots},
    {"suspect",
     "has bytes, but something speaks against them",
     {0xb8, 0x78, 0x00},
     {0xff, 0xf3, 0xd6},
     Mark::kCrossLines},
    {"bad", "could not be read", {0xb0, 0x15, 0x35}, {0xff, 0xe3, 0xe3}, Mark::kHatching},
    {"unread", "was never tried", {0x3a, 0x63, 0xb8}, {0xe6, 0xee, 0xff}, Mark::kBars},
    {"absent", "not in the image", {0x1a, 0x1c, 0x20}, {0xd5, 0xda, 0xe0}, Mark::kLattice},
}};
constexpr const StateStyle& style_of(SectorState state) noexcept {
  return kStateStyles[static_cast<std::size_t>(state)];
}
/// Of places that no sector of the disc is known to have, on paper and on a dark page.
inline constexpr StateStyle kNotOnDisc{
    "not on this disc", "beyond its last sector", {0xff, 0xff, 0xff}, {0x8a, 0x93, 0x9c}, Mark::kSparseDots};
inline constexpr Colour kNotOnDiscDark{0x1d, 0x22, 0x28};

/// What the words, the lines and the ground around the disc have.
struct PageColours {
  Colour ground, text, muted, line, hub;
};
inline constexpr PageColours kLightPage{
    {0xff, 0xff, 0xff}, {0x1a, 0x1f, 0x24}, {0x56, 0x5f, 0x68}, {0x7d, 0x86, 0x8f}, {0xf5, 0xf6, 0xf8}};
inline constexpr PageColours kDarkPage{
    {0x14, 0x18, 0x1c}, {0xec, 0xef, 0xf2}, {0xa9, 0xb2, 0xbb}, {0x7d, 0x86, 0x8f}, {0x2a, 0x30, 0x37}};

}  // namespace lacuna::report
