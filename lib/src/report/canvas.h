// SPDX-License-Identifier: GPL-3.0-or-later
// Canvas: pixels of 24 bits, and what is drawn on them besides the disc itself: rectangles, lines and words.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "report/state_style.h"

namespace lacuna::report {

/// Not safe for concurrent use.
class Canvas {
 public:
  Canvas(std::uint32_t width, std::uint32_t height, Colour ground);

  std::uint32_t width() const noexcept { return width_; }
  std::uint32_t height() const noexcept { return height_; }
  /// Of one pixel, which must lie on the canvas.
  void put(std::uint32_t x, std::uint32_t y, Colour c) noexcept;
  Colour at(std::uint32_t x, std::uint32_t y) const noexcept;
  /// Lays a colour over a pixel, 0 none of it, 255 all. Passes over what is outside.
  void blend(std::int64_t x, std::int64_t y, Colour c, std::uint32_t cover) noexcept;
  /// Whole pixels; corners in pixels.
  void fill(std::int64_t x1, std::int64_t y1, std::int64_t x2, std::int64_t y2, Colour c) noexcept;
  /// A PNG file (ISO/IEC 15948) of all of it.
  std::string png() const;

 private:
  std::uint32_t width_, height_;
  std::vector<std::uint8_t> bytes_;
};

/// Words in the system's sans-serif typeface. Where the system has none, nothing is written.
class Lettering {
 public:
  Lettering();
  ~Lettering();
  Lettering(const Lettering&) = delete;
  Lettering& operator=(const Lettering&) = delete;

  /// Width in pixels. `size`: of the em square, in pixels.
  double width(std::string_view utf8, double size, bool bold);
  /// From `x` on, on the baseline `y`.
  void write(Canvas& canvas, double x, double y, std::string_view utf8, double size, bool bold, Colour colour);

 private:
  struct Faces;
  std::unique_ptr<Faces> faces_;
};

}  // namespace lacuna::report
