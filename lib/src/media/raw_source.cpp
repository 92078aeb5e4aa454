// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/raw_source.h"

#include <algorithm>
#include <array>
#include <utility>

#include "media/known_errors.h"
#include "media/recognise_raw.h"
#include "media/settle_runs.h"
#include "media/unit_reader.h"

namespace lacuna {
namespace {

/// Offset of the 2048 bytes of user data that a file system sees in a sector (ECMA-130 14.2, 14.3; CD-ROM XA); 0: none.
constexpr std::size_t user_data_at(SectorForm form) noexcept {
  switch (form) {
    case SectorForm::kMode1:
    case SectorForm::kMode2:
      return 16;
    case SectorForm::kForm1:
      return 24;
    case SectorForm::kUnknown:
    case SectorForm::kAudio:
    case SectorForm::kMode0:
    case SectorForm::kForm2:
      break;
  }
  return 0;
}

class RawSource final : public SectorSource, public RawSectors {
 public:
  RawSource(TrackLayout layout, SectorMarks marks, RangeSet bad_bytes)
      : layout_(std::move(layout)), marks_(std::move(marks)), errors_(std::move(bad_bytes)) {
    std::array<std::vector<Range>, kSectorFormCount> forms;
    std::vector<Range> missing, holes, no_data;
    std::vector<SectorRun> proof;
    for (std::size_t i = 0; i < marks_.size();) {
      std::size_t end = i + 1;
      while (end < marks_.size() && marks_[end] == marks_[i]) ++end;
      const Range lbas{layout_.first_lba + i, layout_.first_lba + end};
      const SectorMark mark = marks_[i];
      forms[static_cast<std::size_t>(mark.form())].push_back(lbas);
      const bool has_user_data = user_data_at(mark.form()) != 0 || is_user(lbas.first);
      if (mark.state() == SectorState::kUnread) {
        holes.push_back(lbas);
      } else if (mark.state() == SectorState::kAbsent) {
        missing.push_back(lbas);
      } else if (has_bytes(mark.state()) && !has_user_data) {
        no_data.push_back(lbas);
      }
      if (mark.proven() || mark.state() == SectorState::kBad || mark.state() == SectorState::kSuspect) {
        proof.push_back({lbas.first, lbas.length(), mark.state()});
      }
      i = end;
    }
    for (std::size_t f = 0; f < forms.size(); ++f) forms_[f] = RangeSet::from_unsorted(std::move(forms[f]));
    missing_ = RangeSet::from_unsorted(std::move(missing));
    std::vector<Range> bare;
    for (const StoredRun& run : layout_.runs) {
      if (run.unit.holds == UnitLayout::Holds::kMode2) bare.push_back({run.first_lba, run.first_lba + run.sectors});
    }
    without_headers_ = RangeSet::from_unsorted(std::move(bare));
    without_user_data_ = RangeSet::from_unsorted(std::move(no_data));
    holes_ = RangeSet::from_unsorted(std::move(holes));
    proof_ = SectorMap::from_runs(std::move(proof));
    proof_.set_basis(Basis::kEdc);
  }

  // SectorSource
  std::uint64_t first_lba() const noexcept override { return layout_.first_lba; }
  std::uint64_t end_lba() const noexcept override { return layout_.end_lba; }
  const RangeSet& holes() const noexcept override { return holes_; }
  const RangeSet& missing() const noexcept override { return missing_; }
  const RangeSet& without_user_data() const noexcept override { return without_user_data_; }
  const RawSectors* raw() const noexcept override { return this; }

  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    const std::size_t count = std::min(states.size(), out.size() / kSectorBytes);
    walk(lba, states.first(count), [&](std::size_t i, std::size_t k, UnitBuffer& units, const StoredRun& run) {
      const auto to = out.subspan(i * kSectorBytes, kSectorBytes);
      const SectorMark mark = mark_at(lba + i);
      const std::size_t from = user_data_at(mark.form());
      SectorState state = state_of(units, k, mark);
      if (run.unit.holds == UnitLayout::Holds::kUser) {
        if (has_bytes(state)) std::ranges::copy(units.user(k), to.begin());
      } else if (from == 0 && has_bytes(state)) {
        state = SectorState::kAbsent;  // it has no user data of this size
      } else if (has_bytes(state)) {
        const Bytes sector = bytes_of(units, k, mark, lba + i);
        if (sector.empty()) {
          state = SectorState::kBad;
        } else {
          std::ranges::copy(sector.subspan(from, kSectorBytes), to.begin());
        }
      }
      if (!has_bytes(state)) std::ranges::fill(to, std::uint8_t{0});
      return state;
    });
    for (std::size_t i = 0; i < count; ++i) {
      if (states[i] == SectorState::kAbsent)
        std::ranges::fill(out.subspan(i * kSectorBytes, kSectorBytes), std::uint8_t{0});
    }
  }

  // RawSectors
  const std::vector<Track>& tracks() const noexcept override { return layout_.tracks; }
  const SectorMap& proof() const noexcept override { return proof_; }
  const RangeSet& without_headers() const noexcept override { return without_headers_; }
  const RangeSet& of_form(SectorForm form) const noexcept override { return forms_[static_cast<std::size_t>(form)]; }

  void read_raw(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    const std::size_t count = std::min(states.size(), out.size() / kRawSectorBytes);
    std::ranges::fill(out, std::uint8_t{0});
    walk(lba, states.first(count), [&](std::size_t i, std::size_t k, UnitBuffer& units, const StoredRun& run) {
      const SectorMark mark = mark_at(lba + i);
      if (run.unit.holds == UnitLayout::Holds::kUser || run.unit.holds == UnitLayout::Holds::kForm2) {
        return SectorState::kAbsent;
      }
      const SectorState state = state_of(units, k, mark);
      if (!has_bytes(state)) return state;
      const Bytes sector = bytes_of(units, k, mark, lba + i);
      if (sector.empty()) return SectorState::kBad;
      std::ranges::copy(sector, out.subspan(i * kRawSectorBytes, kRawSectorBytes).begin());
      return state;
    });
  }

  void read_stored(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states,
                   std::span<WrongBytes> wrong) const override {
    const std::size_t count = std::min(states.size(), out.size() / kRawSectorBytes);
    std::ranges::fill(out, std::uint8_t{0});
    std::ranges::fill(wrong, WrongBytes());
    std::ranges::fill(states, SectorState::kAbsent);
    walk(lba, states.first(count), [&](std::size_t i, std::size_t k, UnitBuffer& units, const StoredRun& run) {
      if (run.unit.holds == UnitLayout::Holds::kUser || run.unit.holds == UnitLayout::Holds::kForm2) {
        return SectorState::kAbsent;
      }
      if (units.state(k) != SectorState::kGood) return units.state(k);
      const SectorMark mark = mark_at(lba + i);
      const Bytes held = held_bytes(units, k, run);
      if (mark.state() == SectorState::kUnread || (!run.audio && is_uniform(held))) return SectorState::kUnread;
      std::ranges::copy(units.sector(k), out.subspan(i * kRawSectorBytes, kRawSectorBytes).begin());
      if (i < wrong.size()) {
        cd::ErasureSet scratch;
        const cd::ErasureSet* known = errors_.of(lba + i, mark.form(), units.erasures(k), scratch);
        if (known != nullptr) wrong[i] = *known;
      }
      return SectorState::kGood;
    });
  }

 private:
  static bool is_uniform(Bytes b) noexcept { return std::equal(b.begin() + 1, b.end(), b.begin()); }
  /// Those that the file holds, without the head that was put before them.
  static Bytes held_bytes(UnitBuffer& units, std::size_t k, const StoredRun& run) noexcept {
    return Bytes(units.sector(k)).last(run.unit.held_bytes());
  }
  SectorMark mark_at(std::uint64_t lba) const noexcept {
    if (lba < layout_.first_lba || lba - layout_.first_lba >= marks_.size()) return {};
    return marks_[static_cast<std::size_t>(lba - layout_.first_lba)];
  }
  std::vector<StoredRun>::const_iterator run_behind(std::uint64_t lba) const noexcept {
    return std::upper_bound(layout_.runs.begin(), layout_.runs.end(), lba,
                            [](std::uint64_t at, const StoredRun& r) { return at < r.first_lba + r.sectors; });
  }
  bool is_user(std::uint64_t lba) const noexcept {
    const auto run = run_behind(lba);
    return run != layout_.runs.end() && run->first_lba <= lba && run->unit.holds == UnitLayout::Holds::kUser;
  }

  /// What looking at it said, unless reading fails now.
  static SectorState state_of(const UnitBuffer& units, std::size_t k, SectorMark mark) noexcept {
    return units.state(k) == SectorState::kGood ? mark.state() : std::max(mark.state(), units.state(k));
  }

  /// Corrected, if it has to be. Empty: the file is not what it was any more.
  Bytes bytes_of(UnitBuffer& units, std::size_t k, SectorMark mark, std::uint64_t lba) const {
    const cd::RawSpan sector = units.sector(k);
    if (mark.state() == SectorState::kRepaired) {
      const auto header = static_cast<std::int32_t>(static_cast<std::int64_t>(lba) + layout_.header_bias);
      cd::ErasureSet scratch;
      const cd::ErasureSet* known = errors_.of(lba, mark.form(), units.erasures(k), scratch);
      if (!cd::prove(sector, {header, mark.form(), known}).proven) return {};
    }
    return sector;
  }

  /// Calls take(i, k, units, run) for each sector lba + i that a run holds, as unit k of what was read; it gives the
  /// state. All others are absent.
  template <class Take>
  void walk(std::uint64_t lba, std::span<SectorState> states, Take&& take) const {
    constexpr std::size_t kMostUnits = 128;
    std::ranges::fill(states, SectorState::kAbsent);
    UnitBuffer units;
    auto run = run_behind(lba);
    for (std::size_t i = 0; i < states.size() && run != layout_.runs.end();) {
      if (lba + i < run->first_lba) {
        if (run->first_lba - lba >= states.size()) return;
        i = static_cast<std::size_t>(run->first_lba - lba);
        continue;
      }
      const std::uint64_t unit = lba + i - run->first_lba;
      const auto n =
          static_cast<std::size_t>(std::min<std::uint64_t>({run->sectors - unit, states.size() - i, kMostUnits}));
      units.read(*run, *layout_.stores[run->store], unit, n);
      for (std::size_t k = 0; k < n; ++k) states[i + k] = take(i + k, k, units, *run);
      i += n;
      if (unit + n == run->sectors) ++run;
    }
  }

  TrackLayout layout_;
  SectorMarks marks_;
  KnownErrors errors_;
  std::array<RangeSet, kSectorFormCount> forms_;
  RangeSet holes_, missing_, without_user_data_, without_headers_;
  SectorMap proof_;
};

}  // namespace

Result<std::unique_ptr<SectorSource>> make_raw_source(TrackLayout layout, const std::string& name,
                                                      const RawOptions& options, Findings& findings) {
  Result<SectorMarks> marks = settle_runs(layout, name, options, findings);
  if (!marks) return marks.error();
  if (layout.tracks.empty()) name_tracks(layout, *marks, name, findings);
  return std::unique_ptr<SectorSource>(
      std::make_unique<RawSource>(std::move(layout), std::move(marks).value(), options.bad_bytes));
}

}  // namespace lacuna
