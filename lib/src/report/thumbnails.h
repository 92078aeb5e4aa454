// SPDX-License-Identifier: GPL-3.0-or-later
// Thumbnails: small pictures of the whole JPEG and PNG files of a disc, known by their contents.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/progress.h"
#include "lacuna/result.h"
#include "lacuna/verdict.h"
#include "report/out.h"

namespace lacuna::report {

/// Rows of `width` * 3 bytes, red, green, blue.
struct Pixels {
  std::uint32_t width = 0, height = 0;
  std::vector<std::uint8_t> rgb;
};

inline constexpr std::uint32_t kThumbnailEdge = 128;         ///< Of the longer side, at most; pixels.
inline constexpr std::size_t kMostThumbnails = 1000;         ///< Of a disc.
inline constexpr std::size_t kMostThumbnailBytes = 4 << 20;  ///< Of all of a disc.
inline constexpr std::uint64_t kLargestPicture = 32 << 20;   ///< Of a file that is looked at; bytes.
inline constexpr std::uint64_t kMostPixels = 40'000'000;     ///< Of a picture that is decoded.
inline constexpr std::uint64_t kDecoderBytes = 256 << 20;    ///< What a decoder may use.

// Nothing for a picture that is broken in any way, not one of these formats, or beyond the limits. JPEG is decoded at a
// fraction of its size where that is enough for a thumbnail.
std::optional<Pixels> decode_jpeg(std::span<const std::uint8_t> file);
std::optional<Pixels> decode_png(std::span<const std::uint8_t> file);
/// Averaged down to kThumbnailEdge; never up.
Pixels shrunk(const Pixels& from);
/// Empty when it can't be done.
std::string encode_jpeg(const Pixels& pixels);

struct Thumbnails {
  struct One {
    NodeId node = kNoNode;
    std::uint32_t width = 0, height = 0;
    std::string jpeg;
  };
  std::vector<One> all;
  std::uint64_t pictures = 0;  ///< Whole files that begin like JPEG or PNG.
  std::uint64_t broken = 0;    ///< Of those, that do not decode, though every byte was read.
  std::uint64_t large = 0;     ///< Beyond kLargestPicture or kMostPixels.
  std::uint64_t left = 0;      ///< Not made, because there are so many.
};

/// Reads the contents of whole files. Errors: kCancelled.
Result<Thumbnails> make_thumbnails(const Disc& disc, const Verdicts& verdicts, const ProgressCallback& progress);
/// JSON.
void put_thumbnails(const Thumbnails& thumbnails, Out& out);

}  // namespace lacuna::report
