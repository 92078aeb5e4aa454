// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/image.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <mutex>
#include <shared_mutex>
#include <utility>

namespace lacuna {
namespace {

RangeSet listed_by(const SectorMap& map) {
  std::vector<Range> ranges;
  ranges.reserve(map.runs().size());
  for (const SectorRun& run : map.runs()) ranges.push_back({run.first, run.end()});
  return RangeSet::from_unsorted(std::move(ranges));
}

SectorMap marking(const RangeSet& lbas, SectorState state, SectorState elsewhere) {
  std::vector<SectorRun> runs;
  runs.reserve(lbas.ranges().size());
  for (const Range& r : lbas.ranges()) runs.push_back({r.first, r.length(), state});
  return SectorMap::from_runs(std::move(runs), elsewhere);
}

std::string sectors_text(std::uint64_t count) { return fmt::format("{} sector{}", count, count == 1 ? "" : "s"); }

// A map that speaks of sectors outside the image was made in another unit, for another image, or of the whole disc
// when the image is cut.
void note_beyond(const SectorMap& map, const std::string& map_name, const SectorSource& source, Findings& findings) {
  std::uint64_t listed = 0;
  std::uint64_t outside = 0;
  std::uint64_t first_outside = 0;
  std::uint64_t map_end = 0;
  for (const SectorRun& run : map.runs()) {
    if (run.state == SectorState::kAbsent) continue;  // that is what it is
    const std::uint64_t inside_first = std::clamp(run.first, source.first_lba(), source.end_lba());
    const std::uint64_t inside_end = std::clamp(run.end(), source.first_lba(), source.end_lba());
    const std::uint64_t out = run.count - (inside_end - inside_first);
    if (out > 0 && outside == 0)
      first_outside = run.first < source.first_lba() ? run.first : std::max(run.first, source.end_lba());
    listed += run.count;
    outside += out;
    map_end = run.end();
  }
  if (outside == 0) return;
  std::string hint;
  if (map_end > source.end_lba() && outside * 2 >= listed) {
    constexpr std::uint64_t k512PerSector = kSectorBytes / 512;
    if (map_end <= source.end_lba() * k512PerSector) {
      hint =
          "; is the image cut, or does the map count in units of 512 bytes ('#! unit 512' in it, or "
          "--map-unit 512)?";
    } else if (map_end / kSectorBytes <= source.end_lba()) {
      hint = "; does it count bytes ('#! unit bytes' in it, or --map-unit bytes)?";
    } else {
      hint = "; is it the map of this image?";
    }
  }
  findings.add({Severity::kDoubt,
                "map-beyond-image",
                map_name,
                first_outside,
                {},
                fmt::format("lists {} outside the image, which has LBA {} to {}; they stay absent{}",
                            sectors_text(outside), source.first_lba(), source.end_lba() - 1, hint)});
}

}  // namespace

struct LACUNA_LOCAL Image::Impl {
  std::unique_ptr<SectorSource> source;
  std::string name;
  bool mapped = false, coded = false;  // a map says what is good; every sector of user data proves itself, or is bad
  Basis mapped_basis = Basis::kAssumed;
  RangeSet unproven;
  SectorMap known{SectorState::kAbsent};  // all that is known without reading; lists each sector of the image
  Findings findings;

  // What reading and looking brought up, one set a state. Nobody locks while nothing was learned.
  mutable std::shared_mutex learned_mutex;
  std::array<RangeSet, kSectorStateCount> learned;
  std::atomic<bool> any_learned{false};

  void settle(const std::vector<SectorMap>& maps, const std::vector<std::filesystem::path>& map_paths);
  void note_holes(const RangeSet& unread_holes);
  void take_proof(const RawSectors& raw);
  std::vector<SectorRun> states_of(std::uint64_t first, std::uint64_t end) const;
  /// What a read brought up, one set a state.
  using Found = std::array<RangeSet, kSectorStateCount>;
  void read_run(const SectorRun& run, std::span<std::uint8_t> out, std::span<SectorState> states, Found& found) const;
  void read_raw_run(const SectorRun& run, std::span<std::uint8_t> out, std::span<SectorState> states,
                    Found& found) const;
  using ReadRun = void (Impl::*)(const SectorRun&, std::span<std::uint8_t>, std::span<SectorState>, Found&) const;
  /// Run by run of one state, sectors of a size.
  void read_runs(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states,
                 std::size_t sector_bytes, ReadRun read_one);
  void learn(const RangeSet& lbas, SectorState state);
};

// Puts together source and maps; `map_paths` has their names, or fewer.
void Image::Impl::settle(const std::vector<SectorMap>& maps, const std::vector<std::filesystem::path>& map_paths) {
  const Range all{source->first_lba(), source->end_lba()};
  // A map that was inferred from an image adds what it speaks against, and vouches for nothing.
  for (const SectorMap& m : maps) mapped_basis = std::min(mapped_basis, m.basis());
  mapped = mapped_basis != Basis::kAssumed;
  SectorMap united;
  for (std::size_t i = 0; i < maps.size(); ++i) {
    note_beyond(maps[i], i < map_paths.size() ? map_paths[i].string() : "sector map", *source, findings);
    united = i == 0 ? maps[0] : united.worst_with(maps[i]);
  }
  // A hole that a map lists was read by someone, or its reading failed: the map knows better than the file.
  const RangeSet inside = RangeSet::from_unsorted({all});
  const RangeSet unread_holes = source->holes().intersected(inside).minus(listed_by(united));
  note_holes(unread_holes);
  known = SectorMap::from_runs(united.slice(all.first, all.end), SectorState::kAbsent)
              .worst_with(marking(unread_holes, SectorState::kUnread, SectorState::kGood))
              .worst_with(marking(source->missing().intersected(inside), SectorState::kAbsent, SectorState::kGood));
  if (const RawSectors* raw = source->raw()) take_proof(*raw);
  if (all.end > all.first && source->last_sector_bytes() < kSectorBytes) {
    findings.add({Severity::kLoss,
                  "cut-in-sector",
                  name,
                  all.end - 1,
                  {},
                  fmt::format("the image ends {} bytes into its last sector; it was cut, or the copy was interrupted",
                              source->last_sector_bytes())});
  }
}

/// What a sector's own code proves outranks what a drive said of it; what the code speaks against is bad.
void Image::Impl::take_proof(const RawSectors& raw) {
  std::vector<SectorRun> runs(known.runs().begin(), known.runs().end());
  std::uint64_t against_map = 0;
  for (const SectorRun& run : raw.proof().runs()) {
    const bool proves = run.state <= SectorState::kRepaired;
    for (const SectorRun& said : known.slice(run.first, run.end())) {
      if (proves && !has_bytes(said.state)) against_map += said.count;
      runs.push_back({said.first, said.count, proves ? run.state : std::max(run.state, said.state)});
    }
  }
  known = SectorMap::from_runs(std::move(runs), SectorState::kAbsent);
  std::vector<Range> rest;
  for (const SectorRun& run : known.runs()) {
    if (has_bytes(run.state)) rest.push_back({run.first, run.end()});
  }
  std::vector<Range> proven;
  for (const SectorRun& run : raw.proof().runs()) {
    if (run.state <= SectorState::kRepaired) proven.push_back({run.first, run.end()});
  }
  unproven = RangeSet::from_unsorted(std::move(rest))
                 .minus(RangeSet::from_unsorted(std::move(proven)).minus(raw.without_headers()));
  coded = unproven.minus(source->without_user_data()).empty();
  if (against_map != 0) {
    findings.add({Severity::kNote,
                  "proven-against-map",
                  name,
                  {},
                  "ECMA-130 14.3",
                  fmt::format("{} that a map calls unreadable are proven by their own codes, and count as read",
                              sectors_text(against_map))});
  }
}

void Image::Impl::note_holes(const RangeSet& unread_holes) {
  if (unread_holes.empty()) return;
  const std::string count = sectors_text(unread_holes.total());
  findings.add({Severity::kLoss,
                mapped ? "hole-not-in-map" : "holes",
                name,
                unread_holes.ranges().front().first,
                {},
                fmt::format("{} lie in holes of the image file{} and count as unread; if they were read and held "
                            "zeros, list them as good in a map (--map)",
                            count, mapped ? ", are listed in no map" : "")});
}

std::vector<SectorRun> Image::Impl::states_of(std::uint64_t first, std::uint64_t end) const {
  std::vector<SectorRun> runs = known.slice(first, end);
  if (!any_learned.load(std::memory_order_acquire)) return runs;
  const std::shared_lock lock(learned_mutex);
  SectorMap map = SectorMap::from_runs(std::move(runs), SectorState::kAbsent);
  for (std::size_t s = 0; s < learned.size(); ++s) {
    const std::span<const Range> ranges = learned[s].ranges();
    std::vector<SectorRun> here;
    for (std::size_t i = learned[s].first_ending_after(first); i < ranges.size() && ranges[i].first < end; ++i) {
      const std::uint64_t from = std::max(ranges[i].first, first);
      here.push_back({from, std::min(ranges[i].end, end) - from, static_cast<SectorState>(s)});
    }
    if (!here.empty()) map = map.worst_with(SectorMap::from_runs(std::move(here), SectorState::kGood));
  }
  return map.slice(first, end);
}

void Image::Impl::read_run(const SectorRun& run, std::span<std::uint8_t> out, std::span<SectorState> states,
                           Found& found) const {
  if (!has_bytes(run.state)) {
    std::ranges::fill(out, std::uint8_t{0});
    std::ranges::fill(states, run.state);
    return;
  }
  source->read(run.first, out, states);
  const bool raw = source->raw() != nullptr;  // then `known` has what it says of sectors with bytes
  for (std::size_t i = 0; i < states.size(); ++i) {
    const std::uint64_t lba = run.first + i;
    const SectorState said = states[i];
    // A hole that a map lists: someone read its zeros.
    const bool is_as_known = said == SectorState::kGood || (raw && has_bytes(said)) ||
                             (said == SectorState::kUnread && source->holes().contains(lba));
    if (said == SectorState::kAbsent && source->without_user_data().contains(lba)) continue;
    states[i] = is_as_known ? run.state : std::max(said, run.state);
    if (states[i] != run.state) found[static_cast<std::size_t>(states[i])].add({lba, lba + 1});
  }
}

void Image::Impl::read_raw_run(const SectorRun& run, std::span<std::uint8_t> out, std::span<SectorState> states,
                               Found& found) const {
  const RawSectors* raw = source->raw();
  if (raw == nullptr || !has_bytes(run.state)) {
    std::ranges::fill(out, std::uint8_t{0});
    std::ranges::fill(states, raw == nullptr ? SectorState::kAbsent : run.state);
    return;
  }
  raw->read_raw(run.first, out, states);
  for (std::size_t i = 0; i < states.size(); ++i) {
    const std::uint64_t lba = run.first + i;
    if (states[i] == SectorState::kUnread) states[i] = SectorState::kGood;  // as in read_run()
    // Absent here says nothing of the user data.
    if (states[i] == SectorState::kBad && raw->proof().at(lba) != SectorState::kBad)
      found[static_cast<std::size_t>(SectorState::kBad)].add({lba, lba + 1});
    states[i] = std::max({states[i], run.state, raw->proof().lists(lba) ? raw->proof().at(lba) : SectorState::kGood});
    if (!has_bytes(states[i])) {
      std::ranges::fill(out.subspan(i * kRawSectorBytes, kRawSectorBytes), std::uint8_t{0});
    }
  }
}

void Image::Impl::read_runs(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states,
                            std::size_t sector_bytes, ReadRun read_one) {
  const std::size_t count = std::min(states.size(), out.size() / sector_bytes);
  if (lba >= kMaxSectors) {  // no disc reaches here; it also keeps lba + count from wrapping around
    std::ranges::fill(out, std::uint8_t{0});
    std::ranges::fill(states, SectorState::kAbsent);
    return;
  }
  Found found;
  for (const SectorRun& run : states_of(lba, lba + count)) {
    const std::size_t at = static_cast<std::size_t>(run.first - lba);
    const std::size_t n = static_cast<std::size_t>(run.count);
    (this->*read_one)(run, out.subspan(at * sector_bytes, n * sector_bytes), states.subspan(at, n), found);
  }
  for (std::size_t s = 0; s < found.size(); ++s) learn(found[s], static_cast<SectorState>(s));
}

void Image::Impl::learn(const RangeSet& lbas, SectorState state) {
  if (lbas.empty() || state == SectorState::kGood) return;
  constexpr std::size_t kFew = 8;  // up to here, adding one by one is cheaper than uniting
  const std::unique_lock lock(learned_mutex);
  RangeSet& set = learned[static_cast<std::size_t>(state)];
  if (lbas.ranges().size() <= kFew) {
    for (const Range& r : lbas.ranges()) set.add(r);
  } else {
    set = set.united(lbas);
  }
  any_learned.store(true, std::memory_order_release);
}

Result<std::unique_ptr<Image>> Image::open(const std::vector<std::filesystem::path>& paths,
                                           const ImageOptions& options) {
  Findings findings;
  std::vector<SectorMap> maps;
  RangeSet bad_bytes;
  for (const std::filesystem::path& path : options.maps) {
    Result<SectorMap> map = load_sector_map(path, options.map_columns);
    if (!map) return map.error();
    bad_bytes = bad_bytes.united(map->bad_bytes());
    maps.push_back(std::move(map).value());
  }
  Result<std::unique_ptr<SectorSource>> source =
      open_source(paths, {options.starts_at, options.threads, options.progress, std::move(bad_bytes)}, findings);
  if (!source) return source.error();
  auto impl = std::make_unique<Impl>();
  impl->source = std::move(source).value();
  impl->name = paths.front().string();
  impl->findings = std::move(findings);
  impl->settle(maps, options.maps);
  return std::unique_ptr<Image>(new Image(std::move(impl)));
}

std::unique_ptr<Image> Image::from_source(std::unique_ptr<SectorSource> source, std::vector<SectorMap> maps,
                                          std::string name) {
  auto impl = std::make_unique<Impl>();
  impl->source = std::move(source);
  impl->name = std::move(name);
  impl->settle(maps, {});
  return std::unique_ptr<Image>(new Image(std::move(impl)));
}

Image::Image(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Image::~Image() = default;

const std::string& Image::name() const noexcept { return impl_->name; }
std::uint64_t Image::first_lba() const noexcept { return impl_->source->first_lba(); }
std::uint64_t Image::end_lba() const noexcept { return impl_->source->end_lba(); }

std::uint64_t Image::end_byte() const noexcept {
  if (end_lba() == first_lba()) return first_lba() * kSectorBytes;
  return (end_lba() - 1) * kSectorBytes + impl_->source->last_sector_bytes();
}

bool Image::has_map() const noexcept { return impl_->mapped || impl_->coded; }
Basis Image::unproven_basis() const noexcept { return impl_->mapped_basis; }
Basis Image::basis() const noexcept {
  return raw() != nullptr && impl_->unproven.empty() ? Basis::kEdc : unproven_basis();
}
const RangeSet& Image::unproven() const noexcept { return impl_->unproven; }
std::vector<std::uint64_t> data_track_starts(const Image& image) {
  std::vector<std::uint64_t> starts;
  if (image.raw() == nullptr) return starts;
  for (const Track& t : image.raw()->tracks()) {
    if (!t.audio) starts.push_back(t.first_lba);
  }
  return starts;
}

const RawSectors* Image::raw() const noexcept { return impl_->source->raw(); }
const Findings& Image::findings() const noexcept { return impl_->findings; }

void Image::read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const {
  impl_->read_runs(lba, out, states, kSectorBytes, &Impl::read_run);
}

void Image::read_raw(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const {
  impl_->read_runs(lba, out, states, kRawSectorBytes, &Impl::read_raw_run);
}

void Image::learn(const RangeSet& lbas, SectorState state) const { impl_->learn(lbas, state); }

SectorMap Image::states() const {
  SectorMap states = impl_->known;
  if (impl_->any_learned.load(std::memory_order_acquire)) {
    states = SectorMap::from_runs(impl_->states_of(first_lba(), end_lba()), SectorState::kAbsent);
  }
  states.set_basis(basis());
  return states;
}

SectorMap Image::data_states() const {
  SectorMap all = states();
  const RangeSet& without = impl_->source->without_user_data();
  if (without.empty()) return all;
  SectorMap data = all.worst_with(marking(without, SectorState::kAbsent, SectorState::kGood));
  data.set_basis(all.basis());
  return data;
}

}  // namespace lacuna
