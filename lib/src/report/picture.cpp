// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/picture.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <string_view>
#include <utility>

#include "base/utf8.h"
#include "combine/capacity.h"
#include "lacuna/disc.h"
#include "report/words.h"

namespace lacuna {
namespace report {
namespace {

// mm
constexpr double kMargin = 5, kHead = 19, kDiscGap = 6, kUnderDisc = 17, kPanel = 74, kRowHeight = 9.2, kTextLine = 4;
constexpr std::size_t kPanelColumns = 50;  ///< Letters in a line of kPanel at the small size.
constexpr double kTitleSize = 5.2, kWordSize = 3.6, kSmallSize = 2.7;

/// As XML and people can take it: no control characters, and U+FFFD for bytes that are no UTF-8.
std::string printable(std::string_view text) {
  const std::string safe = shown(text);
  std::string to;
  for (std::size_t i = 0; i < safe.size();) {
    const CodePoint c = code_point_at(safe, i);
    if (c.well_formed() && c.value != 0xFFFE && c.value != 0xFFFF) {
      to.append(safe, i, c.length);
    } else {
      to += "\xef\xbf\xbd";
    }
    i += c.length;
  }
  return to;
}

/// Cuts the middle out of what is too long for its place.
std::string shortened(const std::string& text, std::size_t letters) {
  const auto begins = [](char c) { return (static_cast<unsigned char>(c) & 0xc0) != 0x80; };
  if (static_cast<std::size_t>(std::ranges::count_if(text, begins)) <= letters) return text;
  std::size_t head = 0, tail = text.size();
  for (std::size_t n = 0; head < text.size() && (n < letters / 2 || !begins(text[head])); ++head) {
    if (begins(text[head])) ++n;
  }
  for (std::size_t n = 0; tail > head && n + letters / 2 + 1 < letters;) {
    if (begins(text[--tail])) ++n;
  }
  return text.substr(0, head) + "…" + text.substr(tail);
}

std::vector<std::string> wrapped(std::string_view text, std::size_t columns) {
  std::vector<std::string> lines;
  while (text.size() > columns) {
    std::size_t at = text.rfind(' ', columns);
    if (at == std::string_view::npos || at == 0) at = columns;
    lines.emplace_back(text.substr(0, at));
    text.remove_prefix(std::min(text.size(), at + (text[at] == ' ' ? 1 : 0)));
  }
  lines.emplace_back(text);
  return lines;
}

/// "47k", "2.1M": a number for a narrow place.
std::string rough(std::uint64_t number) {
  if (number < 1000) return fmt::to_string(number);
  if (number < 1'000'000) return fmt::format("{}k", (number + 500) / 1000);
  return fmt::format("{:.1f}M", static_cast<double>(number) / 1e6);
}

std::array<std::uint64_t, kSectorStateCount> count_states(const std::vector<SectorRun>& runs) {
  std::array<std::uint64_t, kSectorStateCount> counts{};
  for (const SectorRun& r : runs) counts[static_cast<std::size_t>(r.state)] += r.count;
  return counts;
}

std::string layer_title(const DiscGeometry& geometry, std::uint32_t layer) {
  const std::string_view way = geometry.layers()[layer].inward ? "from the outside in" : "from the inside out";
  const std::size_t layers = geometry.layers().size();
  return layers == 1 ? fmt::format("Read {}", way) : fmt::format("Layer {}, {}", layer, way);
}

std::string type_sentence(const DiscGeometry& geometry, const std::string& why) {
  std::string text =
      fmt::format("Drawn as: {}, {}.", geometry.measures().title, why.empty() ? "as told" : "because " + why);
  if (!geometry.fits()) text += " More sectors than fit on one: places are only in the right order.";
  return text;
}

/// How far angles can be trusted.
std::string winding_sentence(const std::optional<SpiralFit>& fit) {
  if (!fit) {
    return "Discs of a type differ a little. How far out a place is, can be relied on; at which angle, can't: a "
           "straight "
           "scratch may look like a ring.";
  }
  return fmt::format(
      "The damage repeats turn by turn. That told how this disc is wound: {:.2f} mm a sector, {:.3f} µm between turns. "
      "What is in line here is in line on the disc; where on the disc the triangle is, can't be told.",
      fit->sector_mm, fit->pitch_mm * 1000);
}

/// Puts texts and swatches one below the other.
class Panel {
 public:
  Panel(DiscPicture& picture, double x, double y) : picture_(picture), x_(x), y_(y) {}
  double bottom() const noexcept { return y_; }

  void legend_row(const StateStyle& style, const std::string& count) {
    picture_.swatches.push_back({x_, y_, 9, 6.4, &style});
    picture_.texts.push_back({x_ + 11.5, y_ + 2.9, kWordSize, std::string(style.word) + count, false, true});
    picture_.texts.push_back({x_ + 11.5, y_ + 6.3, kSmallSize, std::string(style.meaning), true});
    y_ += kRowHeight;
  }
  void paragraph(const std::string& text) {
    for (std::string& line : wrapped(text, kPanelColumns)) {
      picture_.texts.push_back({x_, y_ + kSmallSize, kSmallSize, std::move(line), true});
      y_ += kTextLine;
    }
    y_ += 1.6;
  }

 private:
  DiscPicture& picture_;
  double x_, y_;
};

/// A ruler from the centre to the rim, and the sectors that lie there.
void add_ruler(DiscPicture& picture, const PictureDisc& disc) {
  const DiscGeometry& geometry = picture.geometry;
  const double rim = geometry.measures().rim, y = disc.y + rim + 3;
  picture.lines.push_back({disc.x, y, disc.x + rim, y});
  for (int mm = 0; mm <= static_cast<int>(rim); mm += 10) {
    const double x = disc.x + mm;
    picture.lines.push_back({x, y, x, y + 1.6});
    picture.texts.push_back({x, y + 4.6, kSmallSize, fmt::to_string(mm), true, false, PictureText::Anchor::kMiddle});
    if (const auto lba = geometry.lba_at(disc.layer, geometry.turns_at_radius(disc.layer, mm))) {
      picture.texts.push_back({x, y + 8.4, kSmallSize, rough(*lba), true, false, PictureText::Anchor::kMiddle});
    }
  }
  picture.texts.push_back({disc.x - rim, y + 1, kSmallSize + 0.4, layer_title(geometry, disc.layer), false, true});
  picture.texts.push_back({disc.x - rim, y + 4.6, kSmallSize, "mm from the centre", true});
  picture.texts.push_back({disc.x - rim, y + 8.4, kSmallSize, "sector (LBA) there", true});
}

/// How many sectors of a range are neither good nor repaired.
std::uint64_t hurt_sectors(const std::vector<SectorRun>& runs, Range lbas) {
  std::uint64_t hurt = 0;
  for (auto run = std::ranges::upper_bound(runs, lbas.first, {}, &SectorRun::end);
       run != runs.end() && run->first < lbas.end; ++run) {
    if (run->state > SectorState::kRepaired) hurt += std::min(run->end(), lbas.end) - std::max(run->first, lbas.first);
  }
  return hurt;
}

/// The picture for those who don't see it: counts, and where the damage is, in rings of 5 mm.
std::string in_words(const DiscPicture& picture, const std::array<std::uint64_t, kSectorStateCount>& counts) {
  const DiscGeometry& geometry = picture.geometry;
  std::string text = fmt::format("{} sectors:", grouped(geometry.sectors()));
  for (std::size_t s = 0; s < counts.size(); ++s) {
    if (counts[s] != 0) text += fmt::format(" {} {},", grouped(counts[s]), kStateStyles[s].word);
  }
  text.back() = '.';
  for (std::uint32_t layer = 0; layer < geometry.layers().size(); ++layer) {
    std::string rings;
    for (double from = geometry.measures().inner; from < geometry.measures().rim; from += 5) {
      Cell ring;
      ring.layer = layer;
      ring.radius_from_mm = from;
      ring.radius_to_mm = from + 5;
      const RangeSet lbas = geometry.lbas_in(ring);
      if (lbas.empty()) continue;
      const std::uint64_t hurt = hurt_sectors(picture.runs, lbas.ranges().front());
      if (hurt != 0) rings += fmt::format(" {} to {} mm {},", from, from + 5, share(hurt, lbas.total()));
    }
    if (rings.empty()) continue;
    rings.back() = '.';
    text += fmt::format(" {}: neither good nor repaired, by distance from the centre:{}", layer_title(geometry, layer),
                        rings);
  }
  return text;
}

}  // namespace

PictureFacts picture_facts(const Image& image, const Disc* disc, const PictureOptions& options) {
  const Volume* volume = disc == nullptr ? nullptr : disc->main_volume();
  DiscTypeGuess guess;
  MediumGuess medium;
  if (options.medium != Medium::kAuto) {
    medium.medium = options.medium;
  } else if (!options.type) {
    medium = disc == nullptr ? guess_medium(image) : guess_medium(*disc);
  }
  std::uint64_t sectors = image.end_lba();
  // A volume that goes on behind the image's end is one that was cut short, unless no such disc holds so much.
  const std::uint64_t said = volume == nullptr ? 0 : volume->space_bytes / kSectorBytes;
  if (said <= combine::capacity_sectors(options.type ? medium_of(*options.type) : medium.medium)) {
    sectors = std::max(sectors, said);
  }
  if (options.type) {
    guess.type = *options.type;
  } else {
    guess = guess_disc_type(medium, sectors);
  }
  PictureFacts facts{
      std::filesystem::path(image.name()).filename().string(), volume == nullptr ? std::string() : volume->volume_id,
      DiscGeometry(guess.type, sectors, options.layer_break),
      options.type || options.medium != Medium::kAuto ? std::string() : guess.why, image.states().slice(0, sectors)};
  facts.fit = fit_spiral(facts.geometry, facts.runs);
  if (facts.fit) facts.geometry = facts.geometry.with_winding(facts.fit->sector_mm, facts.fit->pitch_mm);
  return facts;
}

DiscPicture lay_out(PictureFacts facts) {
  DiscPicture picture{std::move(facts.geometry), std::move(facts.runs), 0, 0, {}, {}, {}, {}, {}, {}};
  const DiscGeometry& geometry = picture.geometry;
  const double rim = geometry.measures().rim;
  const std::size_t layers = geometry.layers().size(), columns = std::min<std::size_t>(layers, 2);
  for (std::uint32_t layer = 0; layer < layers; ++layer) {
    const auto column = static_cast<double>(layer % columns), row = static_cast<double>(layer / columns);
    picture.discs.push_back(
        {kMargin + rim + column * (2 * rim + kDiscGap), kHead + rim + row * (2 * rim + kUnderDisc), layer});
    add_ruler(picture, picture.discs.back());
  }
  const std::string name = printable(facts.name), label = printable(facts.label);
  picture.title = fmt::format("The disc of {}", name);
  const double panel_x = kMargin + static_cast<double>(columns) * (2 * rim + kDiscGap);
  picture.width = panel_x + kPanel + kMargin;
  const auto title_letters = static_cast<std::size_t>((picture.width - 2 * kMargin) / kTitleSize / 0.62);
  picture.texts.push_back({kMargin, 10, kTitleSize, shortened(name, title_letters), false, true});
  picture.texts.push_back({kMargin, 15.4, kWordSize,
                           fmt::format("{}{}{}, {} sectors", shortened(label, 32), label.empty() ? "" : "  ·  ",
                                       geometry.measures().title, grouped(geometry.sectors())),
                           true});

  const std::array<std::uint64_t, kSectorStateCount> counts = count_states(picture.runs);
  Panel panel(picture, panel_x, kHead + 1);
  for (std::size_t s = 0; s < counts.size(); ++s) {
    const std::string part =
        counts[s] == 0 ? "" : fmt::format(" ({})", share(counts[s], std::max<std::uint64_t>(geometry.sectors(), 1)));
    panel.legend_row(kStateStyles[s], fmt::format("  {}{}", grouped(counts[s]), part));
  }
  panel.legend_row(kNotOnDisc, "");
  panel.paragraph(
      "Each place has the mark of its worst sector. A thin line: fewer than half of the sectors there are so.");
  panel.paragraph(
      "Seen from the side that is read, as large as the disc is. Sectors follow each other clockwise; the triangle is "
      "where they begin.");
  panel.paragraph(type_sentence(geometry, facts.why_type));
  panel.paragraph(winding_sentence(facts.fit));
  const auto rows = static_cast<double>((layers + columns - 1) / columns);
  picture.height = std::max(kHead + rows * (2 * rim + kUnderDisc), panel.bottom()) + kMargin - 2;
  picture.description = in_words(picture, counts);
  return picture;
}

}  // namespace report

void write_picture(const Image& image, const Disc* disc, const PictureOptions& options, PictureFormat format,
                   const Sink& sink) {
  const report::DiscPicture picture = report::lay_out(report::picture_facts(image, disc, options));
  if (format == PictureFormat::kSvg) {
    report::write_svg(picture, sink);
  } else {
    sink(report::to_png(picture));
  }
}

}  // namespace lacuna
