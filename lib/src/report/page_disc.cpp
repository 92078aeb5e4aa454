// SPDX-License-Identifier: GPL-3.0-or-later
// What lies where on the disc of a page: the states of its sectors, and the structures of its file system.
#include <algorithm>

#include "report/page.h"
#include "report/picture.h"

namespace lacuna::report {
namespace {

/// The worse of what lies in [first, end) when no more than `most` runs may be told: neighbours that are nearer to each
/// other than `gap` sectors are shown as one.
void put_runs(const std::vector<SectorRun>& runs, std::uint64_t gap, Json& json, Out& out) {
  json.open_array("runs");
  std::uint64_t at = 0;
  for (std::size_t i = 0; i < runs.size();) {
    SectorRun run = runs[i++];
    for (; i < runs.size() && gap != 0 && runs[i].first - run.end() < gap; ++i) {
      run.state = std::max(run.state, runs[i].state);
      run.count = runs[i].end() - run.first;
    }
    json.value(run.first - at);
    json.value(run.count);
    json.value(std::uint64_t{static_cast<unsigned>(run.state)});
    at = run.end();
    out.hand_on();
  }
  json.close_array();
}

std::size_t runs_with(const std::vector<SectorRun>& runs, std::uint64_t gap) {
  std::size_t count = runs.empty() ? 0 : 1;
  for (std::size_t i = 1; i < runs.size(); ++i) count += runs[i].first - runs[i - 1].end() >= gap;
  return count;
}

void put_states(const PageFacts& facts, Json& json, Out& out) {
  const std::uint64_t end = facts.disc().image().end_lba();
  std::vector<SectorRun> runs;
  for (const SectorRun& run : facts.verdicts().states().slice(0, end)) {
    if (run.state != SectorState::kGood) runs.push_back(run);
  }
  for (const Hit& hit : facts.page.hits.hits) {  // What lies behind the image's end is known by what lies on it.
    if (hit.run.end() <= end) continue;
    const std::uint64_t first = std::max(hit.run.first, end);
    runs.push_back({first, hit.run.end() - first, hit.run.state});
  }
  std::uint64_t gap = 0;
  for (std::uint64_t wider = 1; runs_with(runs, gap) > kMostPageRuns; wider *= 2) gap = wider;
  json.put("joined_below", gap);
  put_runs(runs, gap, json, out);
}

void put_structures(const PageFacts& facts, Json& json, Out& out) {
  const std::vector<Structure>& all = facts.disc().structures();
  const auto shown = std::span(all).first(std::min(all.size(), kMostPageStructures));
  std::vector<std::string> titles;
  std::map<std::string, std::size_t> number;
  const auto title_of = [&](const Structure& s) {
    std::string title =
        fmt::format("{} ({})", s.label.empty() ? to_string(s.kind) : std::string_view(s.label), to_string(s.view));
    const auto [at, fresh] = number.emplace(std::move(title), titles.size());
    if (fresh) titles.push_back(at->first);
    return at->second;
  };
  json.open_object("structures");
  json.put("all", std::uint64_t{all.size()});
  // Four numbers each: byte address, bytes, title, node or -1.
  json.open_array("list");
  for (const Structure& s : shown) {
    json.value(s.position);
    json.value(s.bytes);
    json.value(std::uint64_t{title_of(s)});
    json.value(s.node == kNoNode ? std::int64_t{-1} : std::int64_t{s.node});
    out.hand_on();
  }
  json.close_array();
  json.open_array("titles");
  for (const std::string& t : titles) json.value(t);
  json.close_array();
  json.close_object();
}

/// What page/geometry.js needs to find places as DiscGeometry does.
void put_geometry(const PageFacts& facts, Json& json) {
  const PictureFacts picture = picture_facts(facts.disc().image(), &facts.disc(), facts.picture);
  const DiscGeometry& geometry = picture.geometry;
  const DiscMeasures& m = geometry.measures();
  json.open_object("geometry");
  json.put("title", m.title);
  json.put("why", picture.why_type);
  json.put("wound_as_damage_tells", picture.fit.has_value());
  json.put("fits", geometry.fits());
  json.put("rim", m.rim);
  json.put("inner", m.inner);
  json.put("outer", m.outer);
  json.put("pitch", geometry.pitch_mm());
  json.put("sector", geometry.sector_mm());
  json.put("zones", m.zones);
  json.put("first_zone_sectors", m.first_zone_sectors);
  json.put("zone_turns", m.zones == 0 ? 0.0 : (m.outer - m.inner) / (m.zones * geometry.pitch_mm()));
  json.open_array("layers");
  for (const LayerTrack& track : geometry.layers()) {
    json.open_object();
    json.put("first_lba", track.first_lba);
    json.put("end_lba", track.end_lba);
    json.put("inward", track.inward);
    json.put("start_radius", track.start_radius);
    json.put("end_radius", track.end_radius);
    json.close_object();
  }
  json.close_array();
  json.close_object();
}

}  // namespace

void put_page_disc(const PageFacts& facts, Out& out) {
  const Image& image = facts.disc().image();
  Json json(out);
  json.open_object();
  json.put("schema", "lacuna/page/1");
  json.put("title", disc_title(facts.disc()));
  json.put("medium", to_string(facts.plan.medium));
  json.put("first_lba", image.first_lba());
  json.put("end_lba", image.end_lba());
  json.put("basis", to_string(facts.verdicts().basis()));
  json.open_array("sectors");
  for (const std::uint64_t count : facts.survey.sectors) json.value(count);
  json.close_array();
  put_geometry(facts, json);
  put_states(facts, json, out);
  put_structures(facts, json, out);
  json.close_object();
}

}  // namespace lacuna::report
