// SPDX-License-Identifier: GPL-3.0-or-later
// The pages that a browser is let loose on: make_pages DIR writes them all, make_pages DIR FILES one of so many files.
#include <fmt/format.h>
#include <png.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "lacuna/page.h"
#include "report/museum.h"
#include "report/picture.h"
#include "report/thumbnails.h"
#include "support/empty_source.h"

namespace lacuna::test {
namespace {

/// A disc written by hand, judged, and put on pages.
struct MadeDisc {
  std::unique_ptr<Image> image;
  std::unique_ptr<HandDisc> hand;
  std::unique_ptr<Verdicts> verdicts;
  Hits hits;
  ReportContext context;
  std::vector<std::string> maps;

  MadeDisc(std::unique_ptr<Image> of, const std::string& label) : image(std::move(of)) {
    hand = std::make_unique<HandDisc>(*image);
    Session session;
    session.in_tree = true;
    Volume volume;
    volume.view = View::kIso9660;
    volume.volume_id = label;
    session.volumes.push_back(volume);
    hand->builder().sessions().push_back(session);
  }
  void judge_it() {
    hand->finish();
    verdicts = std::make_unique<Verdicts>(std::move(judge(hand->disc())).value());
    hits = find_hits(hand->disc(), *verdicts);
  }
  PageDisc page() const { return {hand->disc(), *verdicts, hits, context, maps}; }
};

std::unique_ptr<Image> marked(std::uint64_t sectors, std::vector<SectorRun> bad, const std::string& name) {
  std::vector<SectorMap> maps;
  maps.push_back(SectorMap::from_runs(std::move(bad)));
  return Image::from_source(std::make_unique<EmptySource>(sectors), std::move(maps), name);
}

template <class Add>
void write(const std::filesystem::path& to, const PageOptions& options, Add&& add) {
  std::ofstream out(to, std::ios::binary);
  const Sink sink = [&out](std::string_view piece) {
    out.write(piece.data(), static_cast<std::streamsize>(piece.size()));
  };
  Page page(options, sink);
  add(page);
  page.finish();
}

Node dated(std::uint64_t size, std::uint64_t seconds) {
  Node n;
  n.size = size;
  n.modified.seconds = static_cast<std::int64_t>(1'000'000'000 + seconds);
  n.modified.known = true;
  return n;
}

/// `files` in folders of 100, with a scratch every so often; names repeat as those of cameras do.
MadeDisc many(std::uint64_t files) {
  const std::uint64_t sectors = 100 + files * 3;
  std::vector<SectorRun> bad;
  for (std::uint64_t at = 500; at < sectors; at += 997) bad.push_back({at, 2, SectorState::kBad});
  MadeDisc disc(marked(sectors, std::move(bad), "many.iso"), "MANY_FILES");
  NodeId folder = kRoot;
  for (std::uint64_t i = 0; i < files; ++i) {
    if (i % 100 == 0) {
      folder = disc.hand->directory(fmt::format("{:04} holiday", i / 100), 0);
      disc.hand->builder().structures().push_back(
          {StructureKind::kDirectory, View::kIso9660, (20 + i / 100 % 80) * kSectorBytes, 2048, folder, {}});
    }
    Node n = dated(4096 + i % 2000, i * 60);
    n.names[static_cast<std::size_t>(View::kIso9660)] =
        disc.hand->tree().add_text(fmt::format("DSCN{:04}.JPG", i % 10000));
    n.view = View::kJoliet;
    disc.hand->node(fmt::format("DSCN{:04} {}.jpg", i % 10000, i % 7 == 0 ? "Hafen Ærø" : "beach"), n,
                    {at_lba(100 + i * 3, 4096 + i % 2000)}, folder);
  }
  disc.judge_it();
  return disc;
}

/// Names and labels that try to get out of their places. Trees hold no '/', but this one does.
MadeDisc hostile() {
  const std::string script = "</script><script>window.hacked=1</script>";
  MadeDisc disc(marked(200, {{50, 2, SectorState::kBad}, {60, 1, SectorState::kSuspect}}, script + ".iso"), script);
  disc.context.image_arguments = script;
  disc.maps = {"<img src=x onerror=window.hacked=1>"};
  disc.hand->builder().findings().add({Severity::kDoubt, "x", script, 1, script, "<b>bold</b> {{style}} " + script});
  const NodeId folder = disc.hand->directory("<!--<script>", 0);
  std::uint64_t lba = 45;
  for (const std::string& name :
       {script, std::string("<img src=x onerror=window.hacked=1>"), std::string("\" onmouseover=\"window.hacked=1"),
        std::string("line\xe2\x80\xa8separator"), std::string("photo\xe2\x80\xaegpj.exe"), std::string("{{script}}"),
        std::string("__proto__"), std::string("constructor"), std::string("&lt;b&gt;"), std::string("]]>"),
        std::string("\xc2\x9b control"), std::string("\xf0\x9f\x93\x80 disc"), std::string(250, 'w')}) {
    disc.hand->node(name, dated(2048, lba), {at_lba(lba, 2048)}, folder);
    ++lba;
  }
  disc.judge_it();
  return disc;
}

/// Two layers: 8 GB, damage on both.
MadeDisc dual() {
  MadeDisc disc(
      marked(4'000'000, {{1'000'000, 5000, SectorState::kBad}, {3'000'000, 400, SectorState::kUnread}}, "dual.iso"),
      "TWO_LAYERS");
  for (std::uint64_t i = 0; i < 8; ++i) {
    disc.hand->node(fmt::format("film {}.vob", i), dated(900'000'000, i), {at_lba(1000 + i * 490'000, 900'000'000)});
  }
  disc.judge_it();
  return disc;
}

report::Pixels sunset(std::uint32_t width, std::uint32_t height) {
  report::Pixels pixels{width, height, {}};
  for (std::uint32_t y = 0; y < height; ++y) {
    for (std::uint32_t x = 0; x < width; ++x) {
      pixels.rgb.push_back(static_cast<std::uint8_t>(255 - y * 120 / height));
      pixels.rgb.push_back(static_cast<std::uint8_t>(180 - y * 90 / height));
      pixels.rgb.push_back(static_cast<std::uint8_t>(x * 255 / width));
    }
  }
  return pixels;
}

std::string png_of(const report::Pixels& pixels) {
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  image.width = pixels.width;
  image.height = pixels.height;
  image.format = PNG_FORMAT_RGB;
  std::string bytes(PNG_IMAGE_PNG_SIZE_MAX(image), '\0');
  png_alloc_size_t size = bytes.size();
  png_image_write_to_memory(&image, bytes.data(), &size, 0, pixels.rgb.data(), 0, nullptr);
  bytes.resize(size);
  return bytes;
}

/// Pictures in a file of another name, a broken one, and one whose sectors are bad.
MadeDisc pictures() {
  const std::string jpeg = report::encode_jpeg(sunset(400, 300)), png = png_of(sunset(90, 120));
  std::vector<std::uint8_t> bytes(200 * kSectorBytes);
  const auto put = [&bytes](std::uint64_t lba, const std::string& what) {
    std::ranges::copy(what, bytes.begin() + static_cast<std::ptrdiff_t>(lba * kSectorBytes));
  };
  put(20, jpeg);
  put(60, png);
  put(80, jpeg.substr(0, jpeg.size() / 2));
  put(100, jpeg);
  MemoryImage memory(std::move(bytes));
  memory.mark(100, 1, SectorState::kBad);
  MadeDisc disc(memory.open("pictures.iso"), "PICTURES");
  disc.hand->node("evening.dat", dated(jpeg.size(), 1), {at_lba(20, jpeg.size())});
  disc.hand->node("plan.png", dated(png.size(), 2), {at_lba(60, png.size())});
  disc.hand->node("half.jpg", dated(jpeg.size() / 2, 3), {at_lba(80, jpeg.size() / 2)});
  disc.hand->node("hurt.jpg", dated(jpeg.size(), 4), {at_lba(100, jpeg.size())});
  disc.judge_it();
  return disc;
}

/// Where the first hurt stretches of a disc lie, as the library's own geometry has it: LBA, layer, mm, turns.
std::string places(const Disc& disc, const Verdicts& verdicts) {
  const report::DiscGeometry geometry = report::picture_facts(disc.image(), &disc, {}).geometry;
  std::string text;
  int count = 0;
  for (const SectorRun& run : verdicts.states().slice(0, disc.image().end_lba())) {
    if (run.state <= SectorState::kRepaired) continue;
    if (count++ == 6) break;
    const report::Place place = geometry.place_of(run.first);
    text += fmt::format("{}[{}, {}, {}, {}]", text.empty() ? "" : ", ", run.first, place.layer, place.radius_mm,
                        place.turns);
  }
  return "[" + text + "]";
}

void all(const std::filesystem::path& folder) {
  const auto one = [&folder](const std::string& name, const MadeDisc& disc, PageOptions options = {}) {
    options.when = "2026-01-01 12:00";
    write(folder / (name + ".html"), options, [&disc](Page& page) { EXPECT_TRUE(page.add(disc.page()).ok()); });
  };
  const MadeDisc bad = hostile(), layers = dual();
  const MadeDisc most = many(20'000);
  one("many", most);
  one("hostile", bad);
  one("dual", layers);
  PageOptions thumbnails;
  thumbnails.thumbnails = true;
  one("pictures", pictures(), thumbnails);
  const Museum museum, assumed("unmapped.iso", false);
  const ReportContext context{"museum.iso --map museum.map"};
  write(folder / "museum.html", {}, [&](Page& page) {
    EXPECT_TRUE(page.add({museum.disc(), museum.verdicts(), museum.hits(), context, {"museum.map"}}).ok());
  });
  std::ofstream(folder / "places.json") << fmt::format(
      R"({{"museum": {}, "dual": {}, "many": {}}})", places(museum.disc(), museum.verdicts()),
      places(layers.hand->disc(), *layers.verdicts), places(most.hand->disc(), *most.verdicts));
  PageOptions box;
  box.box = true;
  write(folder / "box.html", box, [&](Page& page) {
    EXPECT_TRUE(page.add({museum.disc(), museum.verdicts(), museum.hits(), context, {"museum.map"}}).ok());
    page.add_unreadable("<b>gone</b>.iso", "no such <i>file</i>");
    EXPECT_TRUE(page.add({assumed.disc(), assumed.verdicts(), assumed.hits(), context, {}}).ok());
    EXPECT_TRUE(page.add(layers.page()).ok());
    EXPECT_TRUE(page.add(bad.page()).ok());
  });
}

}  // namespace
}  // namespace lacuna::test

int main(int argc, char** argv) {
  using namespace lacuna::test;
  if (argc < 2) return 2;
  const std::filesystem::path folder = argv[1];
  std::filesystem::create_directories(folder);
  if (argc > 2) {
    const MadeDisc disc = many(std::strtoull(argv[2], nullptr, 10));
    write(folder / "many.html", {}, [&disc](lacuna::Page& page) { EXPECT_TRUE(page.add(disc.page()).ok()); });
  } else {
    all(folder);
  }
  return ::testing::Test::HasFailure() ? 1 : 0;
}
