// SPDX-License-Identifier: GPL-3.0-or-later
// The picture as PNG. Of each pixel the place on the disc is found by the way back, sixteen times over: from radius and
// angle to the cell, and so to its states. A cell is about as large as a pixel, and has all sectors in it.
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "report/canvas.h"
#include "report/picture.h"
#include "report/state_grid.h"

namespace lacuna::report {
namespace {

constexpr int kPixels = 10;  ///< A millimetre.
constexpr int kSamples = 4;  ///< Across a pixel.
constexpr double kPngRing_mm = 0.25;
constexpr std::uint32_t kPngCells = 1440;
constexpr double kLine_mm = 0.2;

// Indices of colours: a state's fill, a state's ink, and then these.
constexpr std::uint8_t kInk = kSectorStateCount, kNone = 2 * kSectorStateCount, kNoneInk = kNone + 1,
                       kGround = kNone + 2, kHub = kNone + 3, kLineColour = kNone + 4;
constexpr std::size_t kColours = kNone + 5;

std::array<Colour, kColours> all_colours() {
  std::array<Colour, kColours> colours;
  for (std::size_t s = 0; s < kStateStyles.size(); ++s) {
    colours[s] = kStateStyles[s].fill;
    colours[kInk + s] = kStateStyles[s].ink;
  }
  colours[kNone] = kNotOnDisc.fill;
  colours[kNoneInk] = kNotOnDisc.ink;
  colours[kGround] = kLightPage.ground;
  colours[kHub] = kLightPage.hub;
  colours[kLineColour] = kLightPage.line;
  return colours;
}

/// One tile of a mark, by samples.
constexpr int kTileSamples = static_cast<int>(kMarkTile * kPixels + 0.5) * kSamples;
class MarkTile {
 public:
  explicit MarkTile(Mark mark) : bits_(std::size_t{kTileSamples} * kTileSamples) {
    for (int y = 0; y < kTileSamples; ++y) {
      for (int x = 0; x < kTileSamples; ++x) {
        const double scale = static_cast<double>(kPixels) * kSamples;
        bits_[static_cast<std::size_t>(y * kTileSamples + x)] = covers(mark, (x + 0.5) / scale, (y + 0.5) / scale);
      }
    }
  }
  bool at(int x, int y) const noexcept {
    return bits_[static_cast<std::size_t>((y % kTileSamples) * kTileSamples + x % kTileSamples)] != 0;
  }

 private:
  std::vector<std::uint8_t> bits_;
};

/// What a cell's ring shows in its middle and at its edges.
struct CellColours {
  std::uint8_t middle = kNone, edge = kNone;
};

CellColours colours_of(const GridCell& cell) {
  CellColours colours;
  for (int s = 0; s < kSectorStateCount; ++s) {
    const auto state = static_cast<SectorState>(s);
    if (!cell.has(state)) continue;
    colours.middle = static_cast<std::uint8_t>(s);
    if (cell.mostly(state)) colours.edge = static_cast<std::uint8_t>(s);
  }
  return colours;
}

/// Draws one layer.
class DiscRaster {
 public:
  DiscRaster(const DiscPicture& picture, const std::vector<MarkTile>& tiles, std::uint32_t layer)
      : measures_(picture.geometry.measures()),
        tiles_(tiles),
        grid_(picture.geometry, layer, picture.runs, kPngRing_mm, kPngCells),
        palette_(all_colours()) {
    cells_.reserve(static_cast<std::size_t>(grid_.rings()) * kPngCells);
    for (std::uint32_t r = 0; r < grid_.rings(); ++r) {
      for (const GridCell& c : grid_.ring(r)) cells_.push_back(colours_of(c));
    }
    for (const double radius : {kHoleRadius, kClampRadius, measures_.inner, measures_.outer, measures_.rim}) {
      edges_.push_back(radius);
    }
  }

  void draw(Canvas& canvas, double centre_x, double centre_y) const {
    const double reach = measures_.rim + 1;
    const auto pixel = [](double mm) { return static_cast<std::uint32_t>(std::max(0.0, mm) * kPixels); };
    for (std::uint32_t y = pixel(centre_y - reach); y < std::min(pixel(centre_y + reach), canvas.height()); ++y) {
      const double mm_y = (y + 0.5) / kPixels - centre_y;
      for (std::uint32_t x = pixel(centre_x - reach); x < std::min(pixel(centre_x + reach), canvas.width()); ++x) {
        const double mm_x = (x + 0.5) / kPixels - centre_x, radius = std::hypot(mm_x, mm_y);
        if (radius > reach) continue;
        canvas.put(x, y, pixel_at(x, y, mm_x, mm_y, radius));
      }
    }
  }

 private:
  Colour pixel_at(std::uint32_t x, std::uint32_t y, double mm_x, double mm_y, double radius) const {
    // Within a pixel, radius and angle change evenly enough; not so at the hub, where nothing depends on the angle.
    double angle = std::atan2(mm_x, -mm_y) / (2 * std::numbers::pi);
    if (angle < 0) angle += 1;
    const double safe = std::max(radius, 1.0), radius_x = mm_x / safe, radius_y = mm_y / safe;
    const double angle_x = -mm_y / (safe * safe * 2 * std::numbers::pi),
                 angle_y = mm_x / (safe * safe * 2 * std::numbers::pi);
    const auto sample_at = [&](int sub_x, int sub_y) {
      const double dx = ((sub_x + 0.5) / kSamples - 0.5) / kPixels, dy = ((sub_y + 0.5) / kSamples - 0.5) / kPixels;
      return sample(radius + dx * radius_x + dy * radius_y, angle + dx * angle_x + dy * angle_y,
                    static_cast<int>(x) * kSamples + sub_x, static_cast<int>(y) * kSamples + sub_y);
    };
    // Nothing that is drawn is narrower than what lies between the corners, but for marks.
    const std::size_t corner = sample_at(0, 0);
    if (is_plain(corner) && corner == sample_at(kSamples - 1, 0) && corner == sample_at(0, kSamples - 1) &&
        corner == sample_at(kSamples - 1, kSamples - 1)) {
      return palette_[corner];
    }
    unsigned red = 0, green = 0, blue = 0;
    for (int i = 0; i < kSamples * kSamples; ++i) {
      const Colour& c = palette_[sample_at(i % kSamples, i / kSamples)];
      red += c.red;
      green += c.green;
      blue += c.blue;
    }
    constexpr unsigned kAll = kSamples * kSamples;
    const auto mean = [](unsigned sum) { return static_cast<std::uint8_t>((sum + kAll / 2) / kAll); };
    return {mean(red), mean(green), mean(blue)};
  }

  static bool is_plain(std::size_t colour) noexcept {
    return colour == static_cast<std::size_t>(SectorState::kGood) || colour == kGround || colour == kHub ||
           colour == kLineColour;
  }

  /// Index of the colour at a place; x and y count samples on the canvas.
  std::size_t sample(double radius, double angle, int x, int y) const {
    for (const double edge : edges_) {
      if (std::abs(radius - edge) < kLine_mm / 2) return kLineColour;
    }
    if (radius < kHoleRadius || radius >= measures_.rim) return kGround;
    const double from_inner = (radius - grid_.inner_mm()) / grid_.ring_mm();
    std::uint8_t colour = radius < measures_.inner || radius > measures_.outer ? kHub : kNone;
    if (from_inner >= 0 && from_inner < grid_.rings()) {
      const auto ring = static_cast<std::size_t>(from_inner);
      auto cell = static_cast<std::int64_t>(std::floor(angle * kPngCells));
      cell = cell < 0 ? cell + kPngCells : cell >= kPngCells ? cell - kPngCells : cell;
      const CellColours& shows = cells_[ring * kPngCells + static_cast<std::size_t>(cell)];
      const bool middle = std::abs(from_inner - static_cast<double>(ring) - 0.5) < kThinLine / 2;
      if (shows.edge != kNone) colour = middle ? shows.middle : shows.edge;
      // Within a thin line no mark can be told.
      if (colour != shows.edge && colour == shows.middle) return colour;
    }
    if (colour == kHub) return kHub;
    if (!tiles_[std::min<std::size_t>(colour, kSectorStateCount)].at(x, y)) return colour;
    return colour == kNone ? kNoneInk : static_cast<std::size_t>(colour) + kInk;
  }

  const DiscMeasures& measures_;
  const std::vector<MarkTile>& tiles_;  ///< By state, then that of places which are not on the disc.
  StateGrid grid_;
  std::array<Colour, kColours> palette_;
  std::vector<CellColours> cells_;
  std::vector<double> edges_;
};

/// Lines, words, swatches.
class Surroundings {
 public:
  Surroundings(const DiscPicture& picture, const std::vector<MarkTile>& tiles, Canvas& canvas)
      : picture_(picture), tiles_(tiles), canvas_(canvas) {}

  void draw() {
    for (const PictureDisc& disc : picture_.discs) signs(disc);
    for (const PictureSwatch& s : picture_.swatches) swatch(s);
    for (const PictureLine& l : picture_.lines) line(l);
    Lettering letters;
    for (const PictureText& t : picture_.texts) {
      const double size = t.size * kPixels;
      double x = t.x * kPixels;
      if (t.anchor == PictureText::Anchor::kMiddle) x -= letters.width(t.text, size, t.bold) / 2;
      letters.write(canvas_, x, t.y * kPixels, t.text, size, t.bold, t.muted ? kLightPage.muted : kLightPage.text);
    }
  }

 private:
  static std::int64_t pixel(double mm) { return std::llround(mm * kPixels); }

  void line(const PictureLine& l) {
    const std::int64_t half = pixel(kLine_mm) / 2;
    canvas_.fill(pixel(l.x1) - half, pixel(l.y1) - half, pixel(l.x2) + half, pixel(l.y2) + half, kLightPage.line);
  }

  void swatch(const PictureSwatch& s) {
    const std::int64_t left = pixel(s.x), top = pixel(s.y), right = pixel(s.x + s.width),
                       bottom = pixel(s.y + s.height);
    const std::int64_t frame = pixel(kLine_mm) / 2;
    canvas_.fill(left - frame, top - frame, right + frame, bottom + frame, kLightPage.line);
    canvas_.fill(left, top, right, bottom, s.style->fill);
    const MarkTile& tile =
        tiles_[s.style == &kNotOnDisc ? kSectorStateCount : static_cast<std::size_t>(s.style - kStateStyles.data())];
    for (std::int64_t y = top; y < bottom; ++y) {
      for (std::int64_t x = left; x < right; ++x) {
        unsigned covered = 0;
        for (int i = 0; i < kSamples * kSamples; ++i) {
          covered +=
              tile.at(static_cast<int>(x) * kSamples + i % kSamples, static_cast<int>(y) * kSamples + i / kSamples);
        }
        canvas_.blend(x, y, s.style->ink, covered * 255 / (kSamples * kSamples));
      }
    }
  }

  /// Lays `colour` over whatever `inside` takes, around a disc's centre: coordinates in mm from there.
  template <class Inside>
  void shape(const PictureDisc& disc, double x1, double y1, double x2, double y2, Colour colour, Inside&& inside) {
    for (std::int64_t y = pixel(disc.y + y1) - 1; y <= pixel(disc.y + y2) + 1; ++y) {
      for (std::int64_t x = pixel(disc.x + x1) - 1; x <= pixel(disc.x + x2) + 1; ++x) {
        unsigned covered = 0;
        for (int i = 0; i < kSamples * kSamples; ++i) {
          const double mm_x = (static_cast<double>(x) + (i % kSamples + 0.5) / kSamples) / kPixels - disc.x;
          const double mm_y = (static_cast<double>(y) + (i / kSamples + 0.5) / kSamples) / kPixels - disc.y;
          covered += inside(mm_x, mm_y) ? 1 : 0;
        }
        canvas_.blend(x, y, colour, covered * 255 / (kSamples * kSamples));
      }
    }
  }

  /// Where the track begins, and which way it runs: as picture_svg.cpp has it.
  void signs(const PictureDisc& disc) {
    const LayerTrack& track = picture_.geometry.layers()[disc.layer];
    const double tip = -track.start_radius, back = track.inward ? tip - 1.9 : tip + 1.9;
    shape(disc, -1.1, std::min(tip, back), 1.1, std::max(tip, back), kLightPage.text, [&](double x, double y) {
      const double along = (y - tip) / (back - tip);
      return along >= 0 && along <= 1 && std::abs(x) <= 1.1 * along;
    });
    shape(disc, 0, -kArrowRadius - 1, kArrowRadius, 0, kLightPage.line, [](double x, double y) {
      const double angle = std::atan2(x, -y) / (2 * std::numbers::pi);
      return angle >= 0.02 && angle <= 0.1 && std::abs(std::hypot(x, y) - kArrowRadius) <= 0.2;
    });
    const double turn = 0.1 * 2 * std::numbers::pi;
    shape(disc, 0, -kArrowRadius - 1, kArrowRadius, 0, kLightPage.text, [turn](double x, double y) {
      const double along = x * std::cos(turn) + y * std::sin(turn),
                   across = -x * std::sin(turn) + y * std::cos(turn) + kArrowRadius;
      return along >= -0.2 && along <= 2 && std::abs(across) <= 1.1 * (2 - along) / 2.2;
    });
  }

  const DiscPicture& picture_;
  const std::vector<MarkTile>& tiles_;
  Canvas& canvas_;
};

}  // namespace

std::string to_png(const DiscPicture& picture) {
  Canvas canvas(static_cast<std::uint32_t>(picture.width * kPixels),
                static_cast<std::uint32_t>(picture.height * kPixels), kLightPage.ground);
  std::vector<MarkTile> tiles;
  for (const StateStyle& style : kStateStyles) tiles.emplace_back(style.mark);
  tiles.emplace_back(kNotOnDisc.mark);
  for (const PictureDisc& disc : picture.discs) DiscRaster(picture, tiles, disc.layer).draw(canvas, disc.x, disc.y);
  Surroundings(picture, tiles, canvas).draw();
  return canvas.png();
}

}  // namespace lacuna::report
