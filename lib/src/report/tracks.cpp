// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/tracks.h"

#include <algorithm>

#include "report/json.h"

namespace lacuna::report {
namespace {

std::uint64_t shared(const RangeSet& set, Range r) { return set.intersected(RangeSet::from_unsorted({r})).total(); }

}  // namespace

std::vector<TrackFacts> gather_tracks(const Image& image) {
  std::vector<TrackFacts> all;
  if (image.raw() == nullptr) return all;
  const SectorMap states = image.states();
  std::vector<Range> good;
  for (const SectorRun& run : states.runs()) {
    if (run.state == SectorState::kGood) good.push_back({run.first, run.end()});
  }
  const RangeSet proven = RangeSet::from_unsorted(std::move(good)).minus(image.unproven());
  for (const Track& track : image.raw()->tracks()) {
    TrackFacts facts;
    facts.track = &track;
    const Range lbas{track.first_lba, track.first_lba + track.sectors};
    std::uint64_t most = 0;
    for (int f = 1; f < kSectorFormCount; ++f) {
      const auto form = static_cast<SectorForm>(f);
      if (const std::uint64_t n = shared(image.raw()->of_form(form), lbas); n > most) {
        most = n;
        facts.form = form;
      }
    }
    facts.proven = shared(proven, lbas);
    for (const SectorRun& run : states.slice(lbas.first, lbas.end)) {
      facts.states[static_cast<std::size_t>(run.state)] += run.count;
    }
    all.push_back(facts);
  }
  return all;
}

void put_tracks(Json& json, const Image& image) {
  json.open_array("tracks");
  for (const TrackFacts& f : gather_tracks(image)) {
    const Track& t = *f.track;
    json.open_object();
    json.put("number", t.number);
    json.put("session", t.session);
    json.put("audio", t.audio);
    json.put("form", to_string(f.form));
    json.put("first_lba", t.first_lba);
    json.put("sectors", t.sectors);
    json.put("pregap_sectors", t.pregap_sectors);
    json.put("guessed", t.guessed);
    json.put_text("title", t.title);
    json.put_text("performer", t.performer);
    json.put_text("isrc", t.isrc);
    json.put_text("file", t.file);
    json.put("proven", f.proven);
    for (int s = 0; s < kSectorStateCount; ++s) {
      json.put(to_string(static_cast<SectorState>(s)), f.states[static_cast<std::size_t>(s)]);
    }
    json.close_object();
  }
  json.close_array();
}

}  // namespace lacuna::report
