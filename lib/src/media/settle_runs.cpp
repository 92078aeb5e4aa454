// SPDX-License-Identifier: GPL-3.0-or-later
// One run after the other, in windows: all sectors of a window are looked at, on all cores; then, in order, the first
// place is found where the file departs from the layout. What lies before it is kept; from there a new run begins, at
// the byte and the address that syncs and headers give.
#include "media/settle_runs.h"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <functional>
#include <map>
#include <optional>

#include "base/workers.h"
#include "media/known_errors.h"
#include "media/unit_reader.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kPieceUnits = 256;
constexpr std::uint64_t kLeastWindow = 64, kMostWindow = std::uint64_t{1} << 17;  // units
constexpr std::size_t kAhead = 3;         // units looked at behind a window, for what only the next ones tell
constexpr std::size_t kMostSlips = 4096;  // of an image: beyond, nothing is mended any more
constexpr std::size_t kSearchUnits = 16;  // how far a lost sync is searched for at once
constexpr std::uint64_t kMostTrials = std::uint64_t{1} << 20;  // sectors looked at in such searches, of an image
constexpr std::size_t kMostHoles = std::size_t{1} << 20;

bool is_uniform(Bytes b) { return std::equal(b.begin() + 1, b.end(), b.begin()); }

struct Seen {
  SectorMark mark;
  bool sync = false;
  std::optional<std::int32_t> header_lba;
};

/// Where and how a file goes on otherwise than its layout says.
struct Break {
  std::size_t at = 0;         // units of the window before it
  std::uint64_t at_byte = 0;  // of the new run
  std::int64_t lba = 0;       // of the new run
  bool certain = true;        // that it is this address
};

class Settler {
 public:
  Settler(TrackLayout& layout, const std::string& name, const RawOptions& options, Findings& findings)
      : layout_(layout),
        name_(name),
        options_(options),
        findings_(findings),
        errors_(options.bad_bytes),
        byte_shift_(layout.stores.size()) {}

  Result<SectorMarks> run() {
    find_holes();
    const std::vector<StoredRun> runs = std::move(layout_.runs);
    layout_.runs.clear();
    for (const StoredRun& r : runs) {
      if (r.sectors > kMostRawSectors) return too_many();
    }
    for (const StoredRun& r : runs) total_bytes_ += looked_at(r) ? r.sectors * r.unit.bytes : 0;
    for (std::size_t i = 0; i < runs.size(); ++i) {
      StoredRun r = runs[i];
      r.first_lba = shifted(r.first_lba);
      r.at_byte = static_cast<std::uint64_t>(static_cast<std::int64_t>(r.at_byte) + byte_shift_[r.store]);
      last_of_store_ = std::none_of(runs.begin() + static_cast<std::ptrdiff_t>(i) + 1, runs.end(),
                                    [&](const StoredRun& other) { return other.store == r.store; });
      if (looked_at(r)) {
        settle(r);
      } else {
        keep_unseen(r);
      }
      if (cancelled_) return Error{ErrorCode::kCancelled, "cancelled while checking sectors"};
      if (marks_.size() > kMostRawSectors) return too_many();
    }
    if (misplaced_ != 0) {
      findings_.add({Severity::kDoubt, "sectors-misplaced", name_, std::nullopt, "ECMA-130 14.1",
                     fmt::format("the headers of {} sectors name another address than their place: they are suspect, "
                                 "whatever their codes say",
                                 misplaced_)});
    }
    layout_.end_lba = std::max(shifted(layout_.end_lba), layout_.first_lba + marks_.size());
    if (layout_.end_lba - layout_.first_lba > kMostRawSectors) return too_many();
    marks_.resize(static_cast<std::size_t>(layout_.end_lba - layout_.first_lba));
    return std::move(marks_);
  }

 private:
  static bool looked_at(const StoredRun& r) {
    if (r.audio) return r.unit.c2_at != 0;
    return r.unit.holds == UnitLayout::Holds::kRaw || r.unit.holds == UnitLayout::Holds::kMode2;
  }
  Error too_many() const {
    return {ErrorCode::kNotReadable,
            fmt::format("{}: has more than the {} sectors that a CD can have", name_, kMostRawSectors)};
  }
  std::uint64_t shifted(std::uint64_t lba) const {
    return static_cast<std::uint64_t>(std::max<std::int64_t>(0, static_cast<std::int64_t>(lba) + lba_shift_));
  }
  const ByteStore& store(const StoredRun& r) const { return *layout_.stores[r.store]; }

  void find_holes() {
    for (const auto& s : layout_.stores) {
      RangeSet holes;
      for (Range h = s->next_hole(0); h.first < s->size_bytes(); h = s->next_hole(h.end)) {
        if (holes.ranges().size() >= kMostHoles) break;
        holes.add(h);
      }
      holes_.push_back(std::move(holes));
    }
  }
  bool in_hole(const StoredRun& r, std::uint64_t unit) const {
    const std::uint64_t first = r.at_byte + unit * r.unit.bytes + r.unit.at;
    const RangeSet& holes = holes_[r.store];
    const std::size_t i = holes.first_ending_after(first);
    return i < holes.ranges().size() && holes.ranges()[i].first <= first &&
           first + r.unit.held_bytes() <= holes.ranges()[i].end;
  }

  // ---- keeping

  void put(const StoredRun& r, std::uint64_t unit, SectorMark mark) {
    const std::uint64_t lba = r.first_lba + unit;
    if (lba < layout_.first_lba) return;
    const std::uint64_t i = lba - layout_.first_lba;
    if (i > kMostRawSectors) return;
    if (marks_.size() <= i) marks_.resize(static_cast<std::size_t>(i + 1));
    if (!mark.proven() && in_hole(r, unit)) mark = SectorMark(SectorState::kUnread, SectorForm::kUnknown, false);
    marks_[static_cast<std::size_t>(i)] = mark;
    end_lba_ = std::max(end_lba_, lba + 1);
  }

  void keep_run(StoredRun r, std::uint64_t units) {
    r.sectors = units;
    if (units != 0) layout_.runs.push_back(r);
  }

  void keep_unseen(const StoredRun& r) {
    const std::uint64_t size = store(r).size_bytes(), held = std::uint64_t{r.unit.at} + r.unit.held_bytes();
    const std::uint64_t units =
        r.at_byte + held > size ? 0 : std::min(r.sectors, (size - r.at_byte - held) / r.unit.bytes + 1);
    const SectorForm form = r.audio                                     ? SectorForm::kAudio
                            : r.unit.holds == UnitLayout::Holds::kForm2 ? SectorForm::kForm2
                                                                        : SectorForm::kUnknown;
    for (std::uint64_t i = 0; i < units && marks_.size() <= kMostRawSectors; ++i) {
      put(r, i, SectorMark(SectorState::kGood, form, false));
    }
    keep_run(r, units);
  }

  // ---- looking

  Seen look_at(UnitBuffer& units, std::size_t i, const StoredRun& r, std::uint64_t lba, SectorForm& form) const {
    Seen seen;
    if (units.state(i) != SectorState::kGood) {
      seen.mark = SectorMark(units.state(i), SectorForm::kUnknown, false);
      return seen;
    }
    if (r.audio) {
      const bool wrong = units.erasures(i) != nullptr && units.erasures(i)->any();
      seen.mark = SectorMark(wrong ? SectorState::kSuspect : SectorState::kGood, SectorForm::kAudio, false);
      seen.sync = true;
      return seen;
    }
    const cd::RawSpan bytes = units.sector(i);
    if (is_uniform(bytes)) {  // what fills the place of sectors that were not read
      seen.mark = SectorMark(SectorState::kBad, SectorForm::kUnknown, false);
      return seen;
    }
    const bool has_head = r.unit.holds == UnitLayout::Holds::kRaw;
    seen.sync = has_head && cd::has_sync(bytes);
    std::optional<std::int32_t> header;
    if (seen.sync) header = cd::header_lba(bytes[12], bytes[13], bytes[14]);
    cd::Expected expected{static_cast<std::int32_t>(static_cast<std::int64_t>(lba) + layout_.header_bias), form,
                          units.erasures(i)};
    cd::Sector s = cd::look(bytes, expected);
    if (s.state != SectorState::kGood) {
      cd::ErasureSet scratch;
      expected.erasures = errors_.of(lba, s.form, units.erasures(i), scratch);
      s = cd::prove(bytes, expected);
    }
    if (s.proven) form = s.form;
    if (has_head && s.proven && s.lba) header = s.lba;  // as corrected
    if (header) seen.header_lba = *header - layout_.header_bias;
    if (!s.proven && units.erasures(i) != nullptr && units.erasures(i)->any()) s.state = SectorState::kBad;
    seen.mark = SectorMark(s.state, s.form, s.proven);
    return seen;
  }

  void look(const StoredRun& r, std::uint64_t first, std::uint64_t count) {
    seen_.assign(static_cast<std::size_t>(count), Seen{});
    const std::size_t pieces = static_cast<std::size_t>((count + kPieceUnits - 1) / kPieceUnits);
    std::atomic<std::uint64_t> done{0};
    std::atomic<bool> stop{false};
    const auto make_worker = [&]() -> std::function<void(std::size_t)> {
      return [&, units = UnitBuffer(), form = SectorForm::kUnknown](std::size_t piece) mutable {
        const std::uint64_t from = piece * kPieceUnits, n = std::min(kPieceUnits, count - from);
        units.read(r, store(r), first + from, static_cast<std::size_t>(n));
        for (std::size_t i = 0; i < n; ++i) {
          seen_[static_cast<std::size_t>(from) + i] = look_at(units, i, r, r.first_lba + first + from + i, form);
        }
        done += n;
      };
    };
    run_workers(pieces < 4 ? 1 : options_.threads, pieces, make_worker, stop, [&] {
      return !options_.progress ||
             options_.progress(
                 {"checking sectors", std::min(total_bytes_, done_bytes_ + done * r.unit.bytes), total_bytes_});
    });
    cancelled_ = stop;
  }

  // ---- in order

  void settle(StoredRun r) {
    std::uint64_t run_end = r.first_lba + r.sectors;
    const std::uint64_t original_end_byte = r.at_byte + r.sectors * r.unit.bytes;
    std::uint64_t unit = 0, window = std::uint64_t{1} << 14;
    bool uncertain = false, trusted = false;  // trusted: headers of the run agree with their places
    searched_to_ = 0;
    while (unit < r.sectors && !cancelled_ && marks_.size() <= kMostRawSectors) {
      const std::uint64_t n = std::min(window, r.sectors - unit);
      look(r, unit, std::min(n + kAhead, r.sectors - unit));
      if (cancelled_) return;
      const auto broken =
          slips_ < kMostSlips ? find_break(r, unit, static_cast<std::size_t>(n), trusted) : std::nullopt;
      const std::uint64_t kept = broken ? broken->at : n;
      for (std::size_t i = 0; i < kept && !trusted; ++i) trusted = stands_right(r, unit, i);
      for (std::size_t i = 0; i < kept; ++i) {
        SectorMark mark = seen_[i].mark;
        const bool misplaced = trusted && seen_[i].header_lba && !stands_right(r, unit, i);
        if ((uncertain || misplaced) && has_bytes(mark.state())) {
          mark = SectorMark(SectorState::kSuspect, mark.form(), false);
        }
        misplaced_ += misplaced ? 1 : 0;
        put(r, unit + i, mark);
      }
      unit += kept;
      done_bytes_ += kept * r.unit.bytes;
      if (!broken) {
        window = std::min(window * 2, kMostWindow);
        continue;
      }
      if (!trusted && unit == 0 && broken->at_byte == r.at_byte) {
        if (broken->lba < 0) {  // headers count from elsewhere: a habit of the writer, or no address at all
          layout_.header_bias += static_cast<std::int32_t>(broken->lba - static_cast<std::int64_t>(r.first_lba));
          continue;
        }
        run_end = move_addresses(r, broken->lba, run_end);
        trusted = true;
        continue;
      }
      ++slips_;
      window = kLeastWindow;
      trusted = true;
      tell_slip(r, unit, *broken);
      keep_run(r, unit);
      start_again(r, *broken, run_end);
      uncertain = uncertain || !broken->certain;
      unit = 0;
    }
    keep_run(r, unit);
    byte_shift_[r.store] +=
        static_cast<std::int64_t>(r.at_byte + (run_end - std::min(run_end, r.first_lba)) * r.unit.bytes) -
        static_cast<std::int64_t>(original_end_byte);
  }

  void start_again(StoredRun& r, const Break& broken, std::uint64_t run_end) {
    const std::uint64_t size = store(r).size_bytes();
    r.at_byte = broken.at_byte;
    r.first_lba = static_cast<std::uint64_t>(broken.lba);
    if (r.first_lba < end_lba_ && end_lba_ > layout_.first_lba) {  // sectors that are there twice: the first ones count
      r.at_byte += (end_lba_ - r.first_lba) * r.unit.bytes;
      r.first_lba = end_lba_;
    }
    searched_to_ = 0;
    const std::uint64_t stored = r.at_byte < size ? (size - r.at_byte + r.unit.bytes - 1) / r.unit.bytes : 0;
    r.sectors = last_of_store_ ? stored : std::min(stored, run_end - std::min(run_end, r.first_lba));
  }

  /// The layout counts its addresses from elsewhere than the headers do; all that follows moves along.
  std::uint64_t move_addresses(StoredRun& r, std::int64_t lba, std::uint64_t run_end) {
    const std::int64_t by = lba - static_cast<std::int64_t>(r.first_lba);
    findings_.add({Severity::kNote, "addresses-shifted", name_, static_cast<std::uint64_t>(lba), "ECMA-130 14.1",
                   fmt::format("the headers of its sectors begin with LBA {} where the layout has {}; headers count",
                               lba, r.first_lba)});
    for (Track& t : layout_.tracks) {
      if (t.first_lba + t.sectors > r.first_lba) {
        t.first_lba =
            static_cast<std::uint64_t>(std::max<std::int64_t>(0, static_cast<std::int64_t>(t.first_lba) + by));
      }
    }
    lba_shift_ += by;
    r.first_lba = static_cast<std::uint64_t>(lba);
    if (layout_.runs.empty()) layout_.first_lba = std::min(layout_.first_lba, r.first_lba);
    return static_cast<std::uint64_t>(static_cast<std::int64_t>(run_end) + by);
  }

  void tell_slip(const StoredRun& r, std::uint64_t unit, const Break& b) {
    const auto expected_byte = static_cast<std::int64_t>(r.at_byte + unit * r.unit.bytes);
    const std::int64_t sectors = b.lba - static_cast<std::int64_t>(r.first_lba + unit);
    const std::int64_t bytes = static_cast<std::int64_t>(b.at_byte) - expected_byte - sectors * r.unit.bytes;
    if (slips_ == kMostSlips) {
      findings_.add(
          {Severity::kDoubt, "slips-too-many", name_, r.first_lba + unit, "",
           fmt::format("the image lost or gained bytes in {} places; from here on it is taken as it is", slips_)});
      return;
    }
    findings_.add({b.certain ? Severity::kLoss : Severity::kDoubt, "sectors-slipped", name_, r.first_lba + unit, "",
                   fmt::format("at byte {} the image has {} bytes {}; it goes on with LBA {} at byte {}{}",
                               expected_byte, std::abs(bytes), bytes < 0 ? "too few" : "too many", b.lba, b.at_byte,
                               b.certain ? "" : ", which is an estimate: its sectors carry no address")});
  }

  // ---- where the file departs from the layout

  bool stands_right(const StoredRun& r, std::uint64_t unit, std::size_t i) const {
    return seen_[i].header_lba && *seen_[i].header_lba == static_cast<std::int64_t>(r.first_lba + unit + i);
  }

  std::optional<Break> find_break(const StoredRun& r, std::uint64_t unit, std::size_t n, bool trusted) {
    for (std::size_t i = 0; i < n; ++i) {
      const Seen& s = seen_[i];
      const auto expected = static_cast<std::int64_t>(r.first_lba + unit + i);
      if (s.header_lba) {
        trusted = trusted || *s.header_lba == expected;
        if (*s.header_lba == expected || !followed(i, n, *s.header_lba)) continue;
        if (!trusted && unit == 0) return Break{0, r.at_byte, *s.header_lba - static_cast<std::int64_t>(i), true};
        return Break{i, r.at_byte + (unit + i) * r.unit.bytes, *s.header_lba, true};
      }
      if (r.audio || s.sync || has_bytes(s.mark.state())) continue;
      if (unit + i < searched_to_) continue;
      // Without a sync, sectors that prove themselves where they are speak against a slip: a shift of one byte can pass
      // an EDC, too, where nearly all bytes are one.
      if (r.unit.holds == UnitLayout::Holds::kMode2 && goes_on(i)) continue;
      if (auto found = search(r, unit, i)) return found;
    }
    return {};
  }

  bool goes_on(std::size_t i) const {
    const auto ahead = std::span(seen_).subspan(i + 1, std::min(kAhead, seen_.size() - i - 1));
    return std::ranges::any_of(ahead, [](const Seen& s) { return s.mark.proven(); });
  }

  /// Whether the sectors behind one count on from its address: a single header may be wrong.
  bool followed(std::size_t i, std::size_t n, std::int32_t lba) const {
    std::size_t agree = 0, there = 0;
    for (std::size_t k = i + 1; k < seen_.size() && k <= i + kAhead; ++k) {
      ++there;
      agree += seen_[k].header_lba && *seen_[k].header_lba == lba + static_cast<std::int32_t>(k - i) ? 1 : 0;
    }
    if (there < 2) return agree == there && i + 1 <= n && seen_[i].mark.proven() && lba >= 0;
    return agree >= 2;
  }

  /// For the next sector, at any byte from the last sector on that is in its place.
  std::optional<Break> search(const StoredRun& r, std::uint64_t unit, std::size_t i) {
    const std::uint64_t base = r.at_byte + unit * r.unit.bytes;  // of seen_[0]
    const std::uint64_t from = base + (i == 0 ? 0 : (i - 1) * std::uint64_t{r.unit.bytes}) + r.unit.at + 1;
    std::vector<std::uint8_t> bytes((kSearchUnits + 2) * r.unit.bytes);
    bytes.resize(read_fully(store(r), from, bytes));
    searched_to_ = unit + i + kSearchUnits;
    const bool by_sync = r.unit.holds == UnitLayout::Holds::kRaw;
    for (std::size_t at = 0; at + r.unit.held_bytes() <= bytes.size() && at < kSearchUnits * r.unit.bytes; ++at) {
      const Bytes rest = Bytes(bytes).subspan(at);
      if (by_sync ? !cd::has_sync(rest) : !std::equal(rest.begin(), rest.begin() + 4, rest.begin() + 4)) continue;
      const std::uint64_t at_byte = from + at - r.unit.at;
      if ((at_byte - r.at_byte) % r.unit.bytes == 0) {
        if (by_sync) return {};  // in its place again
        continue;
      }
      if (trials_ >= kMostTrials) return {};
      if (auto b = begins_anew(r, unit, at_byte)) return b;
    }
    return {};
  }

  std::optional<Break> begins_anew(const StoredRun& r, std::uint64_t unit, std::uint64_t at_byte) {
    const std::uint64_t ahead = at_byte - r.at_byte;  // bytes
    StoredRun trial = r;
    trial.at_byte = at_byte;
    trial.first_lba = r.first_lba + (ahead + r.unit.bytes / 2) / r.unit.bytes;
    trials_ += 2;
    trial_units_.read(trial, store(r), 0, 2);
    SectorForm form = SectorForm::kUnknown;
    const Seen first = look_at(trial_units_, 0, trial, trial.first_lba, form);
    const Seen second = look_at(trial_units_, 1, trial, trial.first_lba + 1, form);
    Break b;
    b.at = static_cast<std::size_t>(ahead / r.unit.bytes - unit);
    b.at_byte = at_byte;
    if (r.unit.holds == UnitLayout::Holds::kMode2) {
      // As they stand: parity repairs a sector of nearly one byte at a wrong place, too.
      const auto stands = [](const Seen& s) { return s.mark.proven() && s.mark.state() == SectorState::kGood; };
      if (!stands(first) || !stands(second)) return {};
      b.lba = static_cast<std::int64_t>(trial.first_lba);
      b.certain = false;
      return b;
    }
    if (!first.header_lba || *first.header_lba < 0) return {};
    const bool goes_on = second.header_lba && *second.header_lba == *first.header_lba + 1;
    if (!goes_on && !first.mark.proven()) return {};
    b.lba = *first.header_lba;
    return b;
  }

  TrackLayout& layout_;
  const std::string& name_;
  const RawOptions& options_;
  Findings& findings_;
  KnownErrors errors_;
  SectorMarks marks_;
  std::vector<RangeSet> holes_;           // by store
  std::vector<std::int64_t> byte_shift_;  // by store: of what follows in it
  std::int64_t lba_shift_ = 0;            // of what follows
  std::uint64_t end_lba_ = 0;             // behind the last sector that was kept
  std::vector<Seen> seen_;
  UnitBuffer trial_units_;
  std::uint64_t searched_to_ = 0;  // unit of the run
  std::size_t slips_ = 0;
  std::uint64_t trials_ = 0;
  std::uint64_t misplaced_ = 0;
  std::uint64_t done_bytes_ = 0, total_bytes_ = 0;
  bool last_of_store_ = false, cancelled_ = false;
};

}  // namespace

Result<SectorMarks> settle_runs(TrackLayout& layout, const std::string& name, const RawOptions& options,
                                Findings& findings) {
  return Settler(layout, name, options, findings).run();
}

}  // namespace lacuna
