// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/canvas.h"

#include <png.h>

#include <algorithm>
#include <cstring>
#include <new>
#include <stdexcept>

namespace lacuna::report {

Canvas::Canvas(std::uint32_t width, std::uint32_t height, Colour ground)
    : width_(width), height_(height), bytes_(std::size_t{3} * width * height) {
  fill(0, 0, width, height, ground);
}

void Canvas::put(std::uint32_t x, std::uint32_t y, Colour c) noexcept {
  std::uint8_t* const p = &bytes_[3 * (static_cast<std::size_t>(y) * width_ + x)];
  p[0] = c.red;
  p[1] = c.green;
  p[2] = c.blue;
}

Colour Canvas::at(std::uint32_t x, std::uint32_t y) const noexcept {
  const std::uint8_t* const p = &bytes_[3 * (static_cast<std::size_t>(y) * width_ + x)];
  return {p[0], p[1], p[2]};
}

void Canvas::blend(std::int64_t x, std::int64_t y, Colour c, std::uint32_t cover) noexcept {
  if (x < 0 || y < 0 || x >= width_ || y >= height_ || cover == 0) return;
  const auto px = static_cast<std::uint32_t>(x), py = static_cast<std::uint32_t>(y);
  const Colour under = at(px, py);
  const auto mix = [cover](std::uint32_t from, std::uint32_t to) {
    return static_cast<std::uint8_t>((from * (255 - cover) + to * cover + 127) / 255);
  };
  put(px, py, {mix(under.red, c.red), mix(under.green, c.green), mix(under.blue, c.blue)});
}

void Canvas::fill(std::int64_t x1, std::int64_t y1, std::int64_t x2, std::int64_t y2, Colour c) noexcept {
  const auto within = [](std::int64_t at, std::uint32_t end) {
    return static_cast<std::uint32_t>(std::clamp<std::int64_t>(at, 0, end));
  };
  for (std::uint32_t y = within(y1, height_); y < within(y2, height_); ++y) {
    for (std::uint32_t x = within(x1, width_); x < within(x2, width_); ++x) put(x, y, c);
  }
}

std::string Canvas::png() const {
  png_image image;
  std::memset(&image, 0, sizeof image);
  image.version = PNG_IMAGE_VERSION;
  image.width = width_;
  image.height = height_;
  image.format = PNG_FORMAT_RGB;
  image.flags = PNG_IMAGE_FLAG_FAST;  // Large even areas: more effort saves little.
  // What libpng's PNG_IMAGE_PNG_SIZE_MAX allows for, and some more.
  png_alloc_size_t bytes = bytes_.size() + bytes_.size() / 8 + bytes_.size() / 64 + height_ + 4096;
  std::string file(bytes, '\0');
  const int written = png_image_write_to_memory(&image, file.data(), &bytes, 0, bytes_.data(), 0, nullptr);
  if (written == 0) throw std::runtime_error(std::string("the picture could not be made: ") + image.message);
  file.resize(bytes);
  return file;
}

}  // namespace lacuna::report
