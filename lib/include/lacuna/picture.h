// SPDX-License-Identifier: GPL-3.0-or-later
// Picture: where on the disc its sectors lie, and what became of them, as an SVG or a PNG.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/plan.h"
#include "lacuna/report.h"

namespace lacuna {

/// What a disc is as far as places on it go. DVD-R, DVD+R, DVD-RW, DVD+RW and DVD-ROM share one spiral; so do BD-R,
/// BD-RE and BD-ROM. docs/picture.md has the numbers of each.
enum class DiscType : std::uint8_t {
  kCd74,             ///< CD with the standard's own spiral: up to 74 minutes.
  kCd80,             ///< CD wound tighter: 80 minutes.
  kCd8cm,            ///< 8 cm.
  kDvd,              ///< One layer, 4.7 GB.
  kDvdDual,          ///< Two layers, the second from the outside in (opposite track path), 8.5 GB.
  kDvdDualParallel,  ///< Two layers, both from the inside out; pressed discs only.
  kDvd8cm,
  kDvd8cmDual,
  kDvdRam,    ///< 4.7 GB, in zones.
  kDvdRam26,  ///< 2.6 GB, in zones.
  kBd,        ///< One layer, 25 GB.
  kBdDual,    ///< 50 GB.
  kBdTriple,  ///< 100 GB.
  kBdQuad,    ///< 128 GB.
  kBd8cm,
  kBd8cmDual,
};
inline constexpr int kDiscTypeCount = 16;
/// "cd-74", "cd-80", "cd-8cm", "dvd-sl", "dvd-dl", "dvd-dl-parallel", "dvd-8cm", "dvd-8cm-dl", "dvd-ram",
/// "dvd-ram-2.6", "bd-sl", "bd-dl", "bd-tl", "bd-ql", "bd-8cm", "bd-8cm-dl".
LACUNA_API std::string_view to_string(DiscType) noexcept;
LACUNA_API std::optional<DiscType> disc_type_from(std::string_view word) noexcept;
LACUNA_API Medium medium_of(DiscType) noexcept;

/// How a disc is drawn.
struct LACUNA_API PictureOptions {
  Medium medium = Medium::kAuto;  ///< What the disc is, where its type is to be guessed.
  std::optional<DiscType> type;   ///< Default: the smallest of the medium that holds all of it.
  std::optional<std::uint64_t>
      layer_break;  ///< LBA at which a DVD's second layer begins; default: half of the sectors.
};

enum class PictureFormat : std::uint8_t { kSvg, kPng };

/// Draws each layer of the disc as it lies there, seen from the side that is read, every place by the worst state of
/// its sectors. `disc`: what was read of the image; null where there is no file system, its name and size are then not
/// known. SVG is text without an XML declaration, which can stand in an HTML page. The states are those that the image
/// knows now: judge() first. A PNG has no words where the system has no typeface. What the picture rests on and can't
/// tell: docs/picture.md.
LACUNA_API void write_picture(const Image& image, const Disc* disc, const PictureOptions& options, PictureFormat format,
                              const Sink& sink);

}  // namespace lacuna
