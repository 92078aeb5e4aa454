// SPDX-License-Identifier: GPL-3.0-or-later
// PNG by libpng's simplified interface, which reports errors as values and decodes every kind to the same bytes.
#include <png.h>

#include "report/thumbnails.h"

namespace lacuna::report {

std::optional<Pixels> decode_png(std::span<const std::uint8_t> file) {
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  if (png_image_begin_read_from_memory(&image, file.data(), file.size()) == 0) return {};
  const std::uint64_t all = std::uint64_t{image.width} * image.height;
  if (all == 0 || all > kMostPixels) {
    png_image_free(&image);
    return {};
  }
  image.format = PNG_FORMAT_RGB;
  Pixels pixels{image.width, image.height, std::vector<std::uint8_t>(static_cast<std::size_t>(all * 3))};
  const png_color white{255, 255, 255};  // Behind what is transparent.
  // Frees the image in either case.
  if (png_image_finish_read(&image, &white, pixels.rgb.data(), 0, nullptr) == 0) return {};
  return pixels;
}

}  // namespace lacuna::report
