// SPDX-License-Identifier: GPL-3.0-or-later
// DiscPicture: what a picture of a disc shows, laid out in mm; picture_svg.cpp and picture_png.cpp draw it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/picture.h"
#include "lacuna/report.h"
#include "report/disc_geometry.h"
#include "report/spiral_fit.h"
#include "report/state_style.h"

namespace lacuna::report {

// Radii that all discs share, in mm (ECMA-130 8, ECMA-267 10, from memory).
inline constexpr double kHoleRadius = 7.5, kClampRadius = 16.5;
/// Of the arrow that shows which way sectors follow each other.
inline constexpr double kArrowRadius = 20;

/// How much of a ring's breadth is drawn of a state that less than half of a cell's sectors have.
inline constexpr double kThinLine = 0.45;

struct PictureText {
  enum class Anchor : std::uint8_t { kStart, kMiddle };
  double x = 0, y = 0;  ///< Of the baseline.
  double size = 3;
  std::string text;
  bool muted = false, bold = false;
  Anchor anchor = Anchor::kStart;
};
struct PictureLine {
  double x1 = 0, y1 = 0, x2 = 0, y2 = 0;
};
struct PictureSwatch {
  double x = 0, y = 0, width = 0, height = 0;
  const StateStyle* style = nullptr;
};
/// One layer, drawn as a disc.
struct PictureDisc {
  double x = 0, y = 0;  ///< Of its centre.
  std::uint32_t layer = 0;
};

struct DiscPicture {
  DiscGeometry geometry;
  std::vector<SectorRun> runs;  ///< Of all sectors of the disc.
  double width = 0, height = 0;
  std::string title, description;  ///< In words, for those who don't see it.
  std::vector<PictureDisc> discs;
  std::vector<PictureSwatch> swatches;
  std::vector<PictureLine> lines;
  std::vector<PictureText> texts;
};

/// The facts that a picture is made of.
struct PictureFacts {
  std::string name, label;  ///< The image's and the volume's.
  DiscGeometry geometry;
  std::string why_type;               ///< Empty when the caller gave the type.
  std::vector<SectorRun> runs;        ///< Ascending, from LBA 0 to the geometry's end.
  std::optional<SpiralFit> fit = {};  ///< By which the geometry is wound.
};
PictureFacts picture_facts(const Image& image, const Disc* disc, const PictureOptions& options);
DiscPicture lay_out(PictureFacts facts);

/// A whole SVG document, without an XML declaration, so that it can stand in a page as it is.
void write_svg(const DiscPicture& picture, const Sink& sink);
/// The bytes of a PNG file.
std::string to_png(const DiscPicture& picture);

}  // namespace lacuna::report
