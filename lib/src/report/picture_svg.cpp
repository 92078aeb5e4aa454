// SPDX-License-Identifier: GPL-3.0-or-later
// The picture as SVG 1.1. Cells are arcs drawn as thick strokes: those of one state and one thickness are one path, and
// neighbouring rings with the same arcs are one thicker ring.
#include <fmt/format.h>

#include <cctype>
#include <cmath>
#include <iterator>
#include <map>
#include <numbers>
#include <utility>

#include "report/out.h"
#include "report/picture.h"
#include "report/state_grid.h"

namespace lacuna::report {
namespace {

constexpr double kSvgRing_mm = 0.5;
constexpr std::uint32_t kSvgCells = 720;
constexpr double kOverlap_mm = 0.04;  ///< So that nothing shines through between rings.

/// At most two decimals, and no zeros that say nothing.
void append_number(std::string& to, double number) {
  const auto hundredths = static_cast<std::int64_t>(std::llround(number * 100));
  const std::int64_t size = std::abs(hundredths);
  if (hundredths < 0) {
    to += '-';
  } else if (!to.empty() && (std::isdigit(static_cast<unsigned char>(to.back())) != 0 || to.back() == '.')) {
    to += ' ';
  }
  const std::int64_t whole = size / 100, rest = size % 100;
  if (whole != 0 || rest == 0) fmt::format_to(std::back_inserter(to), "{}", whole);
  if (rest == 0) return;
  if (rest % 10 == 0) {
    fmt::format_to(std::back_inserter(to), ".{}", rest / 10);
  } else {
    fmt::format_to(std::back_inserter(to), ".{:02}", rest);
  }
}

/// Angle 0 is up, and they grow clockwise; y grows downward.
void append_point(std::string& to, double radius, double turns) {
  const double angle = turns * 2 * std::numbers::pi;
  append_number(to, radius * std::sin(angle));
  append_number(to, -radius * std::cos(angle));
}

void append_arc(std::string& path, double radius, double from, double to) {
  path += 'M';
  append_point(path, radius, from);
  const auto arc = [&](const char* flags, double end) {
    path += 'A';
    append_number(path, radius);
    append_number(path, radius);
    path += flags;
    append_point(path, radius, end);
  };
  const bool circle = to - from > 0.99;  // Which can't be one arc.
  if (circle) arc(" 0 0 1", (from + to) / 2);
  arc(!circle && to - from > 0.5 ? " 0 1 1" : " 0 0 1", to);
}

std::string escaped(std::string_view text) {
  std::string to;
  for (const char c : text) {
    switch (c) {
      case '&':
        to += "&amp;";
        break;
      case '<':
        to += "&lt;";
        break;
      case '>':
        to += "&gt;";
        break;
      case '"':
        to += "&quot;";
        break;
      default:
        to += c;
    }
  }
  return to;
}

/// Arcs of one state on a layer, gathered from the inside out.
class ArcPaths {
 public:
  explicit ArcPaths(const StateGrid& grid) : grid_(grid) {}

  /// Cells [from, to) of `ring`; a thin one does not fill it.
  void add(std::uint32_t ring, std::uint32_t from, std::uint32_t to, bool thin) {
    if (thin) return put(ring, ring + 1, from, to, kThinLine * grid_.ring_mm());
    const auto [open, is_new] = open_.try_emplace({from, to}, ring, ring + 1);
    if (is_new) return;
    if (open->second.second == ring) {
      ++open->second.second;
    } else {
      close(*open);
      open->second = {ring, ring + 1};
    }
  }
  /// By stroke width.
  const std::map<double, std::string>& finish() {
    for (const auto& open : open_) close(open);
    open_.clear();
    return paths_;
  }

 private:
  using Arc = std::pair<std::uint32_t, std::uint32_t>;

  void close(const std::pair<const Arc, Arc>& open) {
    const auto [first, end] = open.second;
    put(first, end, open.first.first, open.first.second, (end - first) * grid_.ring_mm() + kOverlap_mm);
  }
  void put(std::uint32_t first_ring, std::uint32_t end_ring, std::uint32_t from, std::uint32_t to, double width) {
    const double radius = grid_.inner_mm() + grid_.ring_mm() * (first_ring + end_ring) / 2;
    append_arc(paths_[width], radius, from / static_cast<double>(kSvgCells), to / static_cast<double>(kSvgCells));
  }

  const StateGrid& grid_;
  std::map<Arc, Arc> open_;  ///< From cells to rings.
  std::map<double, std::string> paths_;
};

/// How `state` shows in a cell: not at all where a worse one covers it.
enum class Shows : std::uint8_t { kNot, kPart, kFull };
Shows shows(const GridCell& cell, SectorState state) {
  if (state == SectorState::kGood) return cell.empty() ? Shows::kNot : Shows::kFull;  // The ground of all others.
  for (int worse = static_cast<int>(state) + 1; worse < kSectorStateCount; ++worse) {
    if (cell.mostly(static_cast<SectorState>(worse))) return Shows::kNot;
  }
  if (!cell.has(state)) return Shows::kNot;
  return cell.mostly(state) ? Shows::kFull : Shows::kPart;
}

class SvgWriter {
 public:
  SvgWriter(const DiscPicture& picture, const Sink& sink) : picture_(picture), out_(sink) {}

  void write() {
    head();
    for (const PictureDisc& disc : picture_.discs) draw(disc);
    for (const PictureSwatch& s : picture_.swatches) swatch(s);
    for (const PictureLine& l : picture_.lines) {
      out_.print("<path class=\"lacuna-line\" d=\"M{:.2f} {:.2f}L{:.2f} {:.2f}\"/>\n", l.x1, l.y1, l.x2, l.y2);
    }
    for (const PictureText& t : picture_.texts) text(t);
    out_.add("</svg>\n");
    out_.finish();
  }

 private:
  void head() {
    out_.print(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"lacuna-picture\" viewBox=\"0 0 {0:.1f} {1:.1f}\" "
        "width=\"{0:.1f}mm\" height=\"{1:.1f}mm\" role=\"img\" aria-labelledby=\"lacuna-title lacuna-desc\">\n"
        "<title id=\"lacuna-title\">{2}</title>\n<desc id=\"lacuna-desc\">{3}</desc>\n",
        picture_.width, picture_.height, escaped(picture_.title), escaped(picture_.description));
    out_.add("<style>\n.lacuna-picture{font-family:system-ui,'DejaVu Sans',Verdana,sans-serif}\n");
    page(kLightPage, kNotOnDisc.fill);
    out_.add("@media screen and (prefers-color-scheme:dark){\n");
    page(kDarkPage, kNotOnDiscDark);
    out_.add("}\n</style>\n<defs>\n");
    for (const StateStyle& style : kStateStyles) pattern(style, style.word);
    pattern(kNotOnDisc, "none");
    out_.print("</defs>\n<rect class=\"lacuna-ground\" width=\"{:.1f}\" height=\"{:.1f}\" rx=\"3\"/>\n", picture_.width,
               picture_.height);
  }

  void page(const PageColours& c, Colour none) {
    out_.print(
        ".lacuna-ground{{fill:{}}}.lacuna-text{{fill:{}}}.lacuna-muted{{fill:{}}}.lacuna-hub{{fill:{}}}"
        ".lacuna-none{{fill:{}}}.lacuna-line{{stroke:{};stroke-width:.2;fill:none}}.lacuna-sign{{fill:{}}}\n",
        hex(c.ground), hex(c.text), hex(c.muted), hex(c.hub), hex(none), hex(c.line), hex(c.text));
  }

  void pattern(const StateStyle& style, std::string_view id) {
    if (style.mark == Mark::kNone) return;
    out_.print(
        "<pattern id=\"lacuna-{0}\" width=\"{1}\" height=\"{1}\" patternUnits=\"userSpaceOnUse\"><g stroke=\"{2}\" "
        "fill=\"{2}\">{3}</g></pattern>\n",
        id, kMarkTile, hex(style.ink), svg_shapes(style.mark));
  }

  void ring(double from, double to, std::string_view attributes) {
    out_.print(
        "<path d=\"M0-{0:.2f}A{0:.2f} {0:.2f} 0 1 1-.001-{0:.2f}ZM0-{1:.2f}A{1:.2f} {1:.2f} 0 1 0 .001-{1:.2f}Z\" "
        "{2}/>\n",
        to, from, attributes);
  }

  void draw(const PictureDisc& disc) {
    const DiscMeasures& m = picture_.geometry.measures();
    out_.print("<g transform=\"translate({:.2f} {:.2f})\">\n", disc.x, disc.y);
    ring(kHoleRadius, m.rim, "class=\"lacuna-hub\"");
    ring(m.inner, m.outer, "class=\"lacuna-none\"");
    ring(m.inner, m.outer, "fill=\"url(#lacuna-none)\"");
    out_.add("<g fill=\"none\">\n");
    states(disc.layer);
    out_.add("</g>\n");
    for (const double radius : {kHoleRadius, kClampRadius, m.inner, m.outer, m.rim}) {
      out_.print("<circle class=\"lacuna-line\" r=\"{:.2f}\"/>\n", radius);
    }
    signs(disc.layer);
    out_.add("</g>\n");
  }

  void states(std::uint32_t layer) {
    const StateGrid grid(picture_.geometry, layer, picture_.runs, kSvgRing_mm, kSvgCells);
    for (int s = 0; s < kSectorStateCount; ++s) {
      const auto state = static_cast<SectorState>(s);
      ArcPaths arcs(grid);
      for (std::uint32_t r = 0; r < grid.rings(); ++r) add_ring(arcs, grid, r, state);
      int number = 0;
      for (const auto& [width, path] : arcs.finish()) {
        const StateStyle& style = style_of(state);
        // Within a thin line no mark can be told.
        if (style.mark == Mark::kNone || width < grid.ring_mm()) {
          out_.print("<path d=\"{}\" stroke=\"{}\" stroke-width=\"{:.2f}\"/>\n", path, hex(style.fill), width);
          continue;
        }
        const std::string id = fmt::format("lacuna-{}-{}-{}", layer, style.word, ++number);
        out_.print(
            "<defs><path id=\"{0}\" d=\"{1}\" stroke-width=\"{2:.2f}\"/></defs>"
            "<use href=\"#{0}\" stroke=\"{3}\"/><use href=\"#{0}\" stroke=\"url(#lacuna-{4})\"/>\n",
            id, path, width, hex(style.fill), style.word);
      }
    }
  }

  static void add_ring(ArcPaths& arcs, const StateGrid& grid, std::uint32_t r, SectorState state) {
    const std::span<const GridCell> cells = grid.ring(r);
    for (std::uint32_t from = 0; from < kSvgCells;) {
      const Shows how = shows(cells[from], state);
      std::uint32_t to = from + 1;
      while (to < kSvgCells && shows(cells[to], state) == how) ++to;
      if (how != Shows::kNot) arcs.add(r, from, to, how == Shows::kPart);
      from = to;
    }
  }

  /// Where the track begins, and which way it runs.
  void signs(std::uint32_t layer) {
    const LayerTrack& track = picture_.geometry.layers()[layer];
    const double tip = track.start_radius, back = track.inward ? tip + 1.9 : tip - 1.9;
    out_.print("<path class=\"lacuna-sign\" d=\"M0-{:.2f}L-1.1-{:.2f}H1.1Z\"/>\n", tip, back);
    std::string arc;
    append_arc(arc, kArrowRadius, 0.02, 0.1);
    out_.print("<path class=\"lacuna-line\" d=\"{}\" style=\"stroke-width:.4\"/>\n", arc);
    out_.print(
        "<path class=\"lacuna-sign\" d=\"M{0:.2f} 1.1L{1:.2f} 0L{0:.2f}-1.1Z\" transform=\"rotate(36) "
        "translate(0 -{2:.2f})\"/>\n",
        -0.2, 2.0, kArrowRadius);
  }

  void swatch(const PictureSwatch& s) {
    const auto rectangle = [&](std::string_view attributes) {
      out_.print("<rect x=\"{:.2f}\" y=\"{:.2f}\" width=\"{:.2f}\" height=\"{:.2f}\" {}/>\n", s.x, s.y, s.width,
                 s.height, attributes);
    };
    if (s.style == &kNotOnDisc) {
      rectangle("class=\"lacuna-none\"");
    } else {
      rectangle(fmt::format("fill=\"{}\"", hex(s.style->fill)));
    }
    if (s.style->mark != Mark::kNone) {
      rectangle(fmt::format("fill=\"url(#lacuna-{})\"", s.style == &kNotOnDisc ? "none" : s.style->word));
    }
    rectangle("class=\"lacuna-line\"");
  }

  void text(const PictureText& t) {
    out_.print("<text class=\"{}\" x=\"{:.2f}\" y=\"{:.2f}\" font-size=\"{:.2f}\"{}{}>{}</text>\n",
               t.muted ? "lacuna-muted" : "lacuna-text", t.x, t.y, t.size, t.bold ? " font-weight=\"600\"" : "",
               t.anchor == PictureText::Anchor::kMiddle ? " text-anchor=\"middle\"" : "", escaped(t.text));
  }

  const DiscPicture& picture_;
  Out out_;
};

}  // namespace

void write_svg(const DiscPicture& picture, const Sink& sink) { SvgWriter(picture, sink).write(); }

}  // namespace lacuna::report
