// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/picture.h"

#include <gmock/gmock.h>
#include <png.h>

#include <cmath>
#include <cstring>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "lacuna/image.h"
#include "report/state_grid.h"
#include "support/empty_source.h"
#include "support/memory_image.h"
#include "support/simulated_reads.h"

namespace lacuna::report {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

DiscPicture picture_of(DiscType type, std::uint64_t sectors, std::vector<SectorRun> runs,
                       const std::string& name = "harbour.iso") {
  const SectorMap map = SectorMap::from_runs(std::move(runs));
  return lay_out({name, "HARBOUR_1998", DiscGeometry(type, sectors), "told by the test", map.slice(0, sectors)});
}

std::string svg_of(const DiscPicture& picture) {
  std::string text;
  write_svg(picture, [&text](std::string_view piece) { text.append(piece); });
  return text;
}

/// What libpng reads of a file.
struct Pixels {
  unsigned width = 0, height = 0;
  std::vector<std::uint8_t> rgb;

  explicit Pixels(const std::string& file) {
    png_image image;
    std::memset(&image, 0, sizeof image);
    image.version = PNG_IMAGE_VERSION;
    EXPECT_NE(png_image_begin_read_from_memory(&image, file.data(), file.size()), 0) << image.message;
    image.format = PNG_FORMAT_RGB;
    rgb.resize(std::size_t{3} * image.width * image.height);
    EXPECT_NE(png_image_finish_read(&image, nullptr, rgb.data(), 0, nullptr), 0) << image.message;
    width = image.width;
    height = image.height;
  }
  Colour at(unsigned x, unsigned y) const {
    const std::size_t i = 3 * (static_cast<std::size_t>(y) * width + x);
    return {rgb[i], rgb[i + 1], rgb[i + 2]};
  }
  /// Pixels of just this colour, in a square of 21 around a place.
  int count(unsigned x, unsigned y, Colour colour) const {
    int found = 0;
    for (unsigned dy = 0; dy < 21; ++dy) {
      for (unsigned dx = 0; dx < 21; ++dx) found += at(x + dx - 10, y + dy - 10) == colour ? 1 : 0;
    }
    return found;
  }
};

Colour fill_of(SectorState s) { return style_of(s).fill; }

/// Whether every tag is closed in its turn, every attribute quoted, and every '&' an entity.
bool is_well_formed(const std::string& xml) {
  std::vector<std::string> open;
  for (std::size_t at = 0; (at = xml.find_first_of("<>&", at)) != std::string::npos;) {
    if (xml[at] == '&') {
      const std::string entity = xml.substr(at, xml.find(';', at) + 1 - at);
      if (entity != "&amp;" && entity != "&lt;" && entity != "&gt;" && entity != "&quot;") return false;
      ++at;
      continue;
    }
    if (xml[at] == '>') return false;  // Tags are passed over as a whole.
    std::size_t end = at + 1;
    for (bool quoted = false; end < xml.size() && (quoted || xml[end] != '>'); ++end) {
      if (xml[end] == '"') quoted = !quoted;
      if (xml[end] == '<') return false;
    }
    if (end == xml.size()) return false;
    const std::string tag = xml.substr(at + 1, end - at - 1), name = tag.substr(0, tag.find(' '));
    if (name.front() == '/') {
      if (open.empty() || open.back() != name.substr(1)) return false;
      open.pop_back();
    } else if (tag.back() != '/') {
      open.push_back(name);
    }
    at = end + 1;
  }
  return open.empty();
}

TEST(PictureSvg, IsWellFormedWhateverTheNames) {
  for (const std::string& name : {std::string("harbour.iso"), std::string("a<b>&\"c'.iso"),
                                  std::string("bad\xff\x01\xef\xbf\xbe"), std::string(5000, 'x'),
                                  std::string("h\xc3\xa4"
                                              "fen.iso")}) {
    const std::string svg = svg_of(picture_of(DiscType::kCd74, 300'000, {{1000, 50'000, SectorState::kBad}}, name));
    EXPECT_TRUE(is_well_formed(svg)) << name;
    EXPECT_THAT(svg, StartsWith("<svg "));
    for (const char c : svg) EXPECT_TRUE(static_cast<unsigned char>(c) >= 0x20 || c == '\n');
  }
  EXPECT_FALSE(is_well_formed("<a><b></a>"));  // The check itself.
}

TEST(PictureSvg, IsSmallAndTellsInWords) {
  std::vector<SectorRun> runs{{100'000, 1, SectorState::kUnread}};
  for (std::uint64_t i = 0; i < 1000; ++i) runs.push_back({200'000 + i * 20, 2, SectorState::kBad});
  const std::string svg = svg_of(picture_of(DiscType::kCd74, 300'000, runs));
  EXPECT_LT(svg.size(), 100'000u);
  EXPECT_THAT(svg, HasSubstr("<title id=\"lacuna-title\">The disc of harbour.iso</title>"));
  EXPECT_THAT(svg, HasSubstr("300,000 sectors: 297,999 good, 2,000 bad, 1 unread."));
  EXPECT_THAT(svg, HasSubstr("CD, 74 minutes"));
  EXPECT_THAT(svg, HasSubstr("because told by the"));
  // Nothing is fetched from anywhere: the only address is the name of SVG's own vocabulary.
  EXPECT_EQ(svg.find("://"), svg.find("://www.w3.org/2000/svg"));
  EXPECT_EQ(svg.find("://", svg.find("://") + 1), std::string::npos);
}

TEST(PictureSvg, TheOneBadSectorIsInIt) {
  const std::string bad = "stroke=\"" + hex(fill_of(SectorState::kBad)) + "\"";
  EXPECT_THAT(svg_of(picture_of(DiscType::kBd, 12'000'000, {})), Not(HasSubstr(bad)));
  EXPECT_THAT(svg_of(picture_of(DiscType::kBd, 12'000'000, {{7'654'321, 1, SectorState::kBad}})), HasSubstr(bad));
}

TEST(PicturePng, PixelsAreWhereTheGeometryPutsThem) {
  // A DVD, bad from 50 to 55 mm: from LBA (50^2 - 24^2) * pi / (5.1571 * 0.00074) = 1,583,847 on, to
  // (55^2 - 24^2) * pi / (5.1571 * 0.00074) = 2,016,041. The disc's centre is at (65, 79) mm, a pixel is 0.1 mm.
  const DiscPicture picture =
      picture_of(DiscType::kDvd, 2'200'000, {{1'583'847, 2'016'041 - 1'583'847, SectorState::kBad}});
  ASSERT_EQ(picture.discs.size(), 1u);
  EXPECT_EQ(picture.discs[0].x, 65);
  EXPECT_EQ(picture.discs[0].y, 79);
  const Pixels png(to_png(picture));
  EXPECT_EQ(png.width, static_cast<unsigned>(picture.width * 10));
  const Colour good = fill_of(SectorState::kGood), bad = fill_of(SectorState::kBad);
  // To the right, below, to the left and above, at 40, 52.5 and 56 mm.
  for (const auto& [x, y] : {std::pair(1, 0), {0, 1}, {-1, 0}, {0, -1}}) {
    const auto at = [x_way = x, y_way = y](int radius) {
      return std::pair(static_cast<unsigned>(650 + x_way * radius), static_cast<unsigned>(790 + y_way * radius));
    };
    EXPECT_EQ(png.at(at(400).first, at(400).second), good);
    EXPECT_GT(png.count(at(525).first, at(525).second, bad), 20);
    EXPECT_EQ(png.count(at(525).first, at(525).second, good), 0);
    EXPECT_GT(png.count(at(565).first, at(565).second, good), 20);
    EXPECT_EQ(png.count(at(565).first, at(565).second, bad), 0);
  }
  // 2,200,000 sectors end at 57.0 mm: 57.5 mm is not on the disc. The hole has nothing.
  EXPECT_GT(png.count(650 + 575, 790, kNotOnDisc.fill), 0);
  EXPECT_EQ(png.at(650, 790), kLightPage.ground);
}

TEST(PicturePng, AnglesGrowClockwiseFromAbove) {
  // On a CD of 1.2 m/s the first turn at 25 mm has 157 mm, 9.8 sectors. All sectors of which the track begins within
  // the first quarter of its turn, for all turns: upper right.
  const DiscGeometry cd(DiscType::kCd74, 100'000);
  std::vector<SectorRun> runs;
  for (std::uint64_t lba = 0; lba < 100'000; ++lba) {
    const double turns = cd.place_of(lba).turns, angle = turns - std::floor(turns);
    if (angle < 0.25) runs.push_back({lba, 1, SectorState::kUnread});
  }
  const Pixels png(to_png(picture_of(DiscType::kCd74, 100'000, runs)));
  const Colour unread = fill_of(SectorState::kUnread);
  const auto around = [&](double angle, double radius) {
    const double turn = angle * 6.283185307;
    return png.count(static_cast<unsigned>(650 + radius * 10 * std::sin(turn)),
                     static_cast<unsigned>(790 - radius * 10 * std::cos(turn)), unread);
  };
  EXPECT_GT(around(0.125, 34), 100);
  EXPECT_EQ(around(0.625, 34), 0);
  EXPECT_EQ(around(0.875, 34), 0);
}

TEST(PicturePng, OneBadSectorAmongTwelveMillionCanBeSeen) {
  const DiscGeometry bd(DiscType::kBd, 12'219'392);
  const std::uint64_t lba = 6'000'000;
  const Pixels with(to_png(picture_of(DiscType::kBd, 12'219'392, {{lba, 1, SectorState::kBad}}))),
      without(to_png(picture_of(DiscType::kBd, 12'219'392, {})));
  // It is 2.24 mm long: pixels in a line of about 20, at its place.
  const Place p = bd.place_of(lba);
  const double turn = (p.turns - std::floor(p.turns)) * 6.283185307;
  const auto x = static_cast<unsigned>(650 + p.radius_mm * 10 * std::sin(turn)),
             y = static_cast<unsigned>(790 - p.radius_mm * 10 * std::cos(turn));
  int changed = 0;
  for (unsigned dy = 0; dy < 61; ++dy) {
    for (unsigned dx = 0; dx < 61; ++dx) {
      const Colour now = with.at(x + dx - 30, y + dy - 30), before = without.at(x + dx - 30, y + dy - 30);
      changed += before.green - now.green > 60 ? 1 : 0;
    }
  }
  EXPECT_GE(changed, 15);
  EXPECT_LE(changed, 80);
}

TEST(Picture, LayersStandSideBySide) {
  const DiscPicture dvd = picture_of(DiscType::kDvdDual, 4'000'000, {});
  ASSERT_EQ(dvd.discs.size(), 2u);
  EXPECT_EQ(dvd.discs[0].y, dvd.discs[1].y);
  EXPECT_LT(dvd.discs[0].x + 120, dvd.discs[1].x + 1e-9);
  const DiscPicture quad = picture_of(DiscType::kBdQuad, 60'000'000, {});
  ASSERT_EQ(quad.discs.size(), 4u);
  for (const DiscPicture& picture : {dvd, quad}) {
    for (const PictureDisc& disc : picture.discs) {
      EXPECT_LE(disc.x + 60, picture.width);
      EXPECT_LE(disc.y + 60, picture.height);
    }
    for (const PictureText& t : picture.texts) {
      EXPECT_LT(t.y, picture.height) << t.text;
      EXPECT_GE(t.x, 0) << t.text;
    }
  }
}

TEST(Picture, OfImagesWithoutAnythingOrBehindTheirStart) {
  const auto both = [](const Image& image, const PictureOptions& options) {
    std::string svg, png;
    write_picture(image, nullptr, options, PictureFormat::kSvg, [&](std::string_view s) { svg.append(s); });
    write_picture(image, nullptr, options, PictureFormat::kPng, [&](std::string_view s) { png.append(s); });
    EXPECT_TRUE(is_well_formed(svg));
    EXPECT_GT(Pixels(png).width, 1000u);
    return svg;
  };
  EXPECT_THAT(both(*test::MemoryImage(std::vector<std::uint8_t>{}).open(), {}), HasSubstr("0 sectors."));
  // An image that begins at LBA 150,000: what comes before is absent.
  const auto late = test::MemoryImage(test::numbered_sectors(10), 150'000).open();
  EXPECT_THAT(both(*late, {}), HasSubstr("150,010 sectors: 10 good, 150,000 absent."));
  // As far out as the library goes.
  const auto far = test::MemoryImage(test::numbered_sectors(1), kMaxSectors - 1).open();
  EXPECT_THAT(svg_of(lay_out(picture_facts(*far, nullptr, {}))), HasSubstr("4,294,967,296 sectors"));
  EXPECT_FALSE(picture_facts(*far, nullptr, {}).geometry.fits());
  for (int i = 0; i < kDiscTypeCount; ++i) {
    PictureOptions options;
    options.type = static_cast<DiscType>(i);
    options.layer_break = 1;
    EXPECT_TRUE(is_well_formed(svg_of(lay_out(picture_facts(*late, nullptr, options)))));
  }
}

TEST(Picture, ScratchesOfAnotherVelocityAreDrawnStraight) {
  // Scratched at 1.3 m/s; the published measures are those of 1.2 m/s, by which they would be rings.
  std::vector<SectorRun> bad;
  for (const std::uint64_t lba : test::scratched(200'000, 12).lbas) bad.push_back({lba, 1, SectorState::kBad});
  std::vector<SectorMap> maps;
  maps.push_back(SectorMap::from_runs(std::move(bad)));
  const auto image = Image::from_source(std::make_unique<test::EmptySource>(200'000), std::move(maps));
  const PictureFacts facts = picture_facts(*image, nullptr, {});
  ASSERT_TRUE(facts.fit);
  EXPECT_NEAR(facts.geometry.sector_mm(), 1300.0 / 75, 0.05);
  const StateGrid grid(facts.geometry, 0, facts.runs, 0.5, 720),
      ring(DiscGeometry(DiscType::kCd74, 200'000), 0, facts.runs, 0.5, 720);
  const auto untouched = [](const StateGrid& g) {
    int cells = 0;
    for (std::uint32_t r = 0; r < g.rings(); ++r) {
      for (const GridCell& c : g.ring(r)) cells += c.worst() == SectorState::kGood ? 1 : 0;
    }
    return cells;
  };
  // Three scratches leave most of the disc alone; as rings they don't.
  EXPECT_GT(untouched(grid), 20'000);
  EXPECT_LT(untouched(ring), untouched(grid) / 2);
  EXPECT_THAT(svg_of(lay_out(facts)), HasSubstr("The damage repeats turn by turn"));
}

TEST(Picture, TheMediumCanBeTold) {
  const auto image = test::MemoryImage(test::numbered_sectors(100)).open();
  const PictureFacts guessed = picture_facts(*image, nullptr, {});
  EXPECT_EQ(guessed.geometry.measures().type, DiscType::kCd74);
  EXPECT_EQ(guessed.why_type, "its 100 sectors fit on a CD");
  const PictureFacts told = picture_facts(*image, nullptr, {Medium::kDvd, {}, {}});
  EXPECT_EQ(told.geometry.measures().type, DiscType::kDvd);
  EXPECT_EQ(told.why_type, "");
  EXPECT_EQ(picture_facts(*image, nullptr, {Medium::kAuto, DiscType::kBd8cm, {}}).geometry.measures().rim, 40);
}

}  // namespace
}  // namespace lacuna::report
