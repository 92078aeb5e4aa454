// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/cd/join.h"

#include <algorithm>
#include <iterator>
#include <utility>
#include <vector>

#include "media/cd/choices.h"
#include "media/cd/correction.h"
#include "media/cd/forms.h"

namespace lacuna::cd {
namespace {

constexpr std::size_t kMostPairs = 6;
// Of form 2, where nothing but the EDC decides. Reads that differ in more places have most likely none of the sector's
// true bytes in some of them, and every further comparison is a chance for wrong ones.
constexpr std::size_t kMostCombinations = 16;
/// Equal bytes between two runs of differing ones that may be taken along.
constexpr std::array<std::size_t, 5> kGaps{1, 4, 16, 64, 256};
constexpr std::array<std::size_t, 3> kGapsByEdc{1, 4, 16};
constexpr std::size_t kMode1ZerosAt = 2068, kMode1Zeros = 8;

/// A version in its place as a sector of some form.
struct Placed {
  RawSector bytes{};
  ErasureSet held;
};
using Versions = std::vector<const Placed*>;

/// What is the same in every sector of its form and place is held by all.
void put_facts(RawSector& s, SectorForm form, const Expected& expected) {
  put_sync(s);
  if (form != SectorForm::kMode1) {  // which no code covers
    std::fill_n(s.begin() + kHeaderAt, kSubheaderAt - kHeaderAt, std::uint8_t{0});
    return;
  }
  if ((s[kModeAt] & 0x1f) != 1) s[kModeAt] = 1;
  const auto address = expected.lba ? header_address(*expected.lba) : std::nullopt;
  if (address) std::ranges::copy(*address, s.begin() + kHeaderAt);
}

/// Bytes of one or several versions, and where they differ.
struct Composed {
  RawSector bytes{};
  OpenBytes open;
};

/// The values of a byte in the versions that hold it, the most frequent first, then in their order.
class Values {
 public:
  Values(const Versions& versions, std::size_t at) {
    for (const Placed* v : versions) {
      if (v->held[at]) count(v->bytes[at]);
    }
  }
  std::size_t size() const { return size_; }
  std::uint8_t operator[](std::size_t i) const { return values_[i]; }
  /// More than half of two or more say so.
  bool has_majority() const { return 2 * counts_[0] > total_ && counts_[0] > 1; }

 private:
  void count(std::uint8_t value) {
    std::size_t i = 0;
    while (i < size_ && values_[i] != value) ++i;
    if (i == size_) values_[size_++] = value;
    ++counts_[i];
    ++total_;
    for (; i > 0 && counts_[i] > counts_[i - 1]; --i) {
      std::swap(values_[i], values_[i - 1]);
      std::swap(counts_[i], counts_[i - 1]);
    }
  }
  std::array<std::uint8_t, kMostVersions> values_{};
  std::array<std::size_t, kMostVersions> counts_{};
  std::size_t size_ = 0, total_ = 0;
};

enum class Open : std::uint8_t {
  kNoMajority,  ///< Bytes on which no majority agrees.
  kDiffering,   ///< Bytes on which any two differ.
};
Composed compose(const Versions& versions, Open which) {
  Composed c;
  for (std::size_t at = 0; at < kRawSectorBytes; ++at) {
    const Values values(versions, at);
    if (values.size() == 0) {
      c.open.open.set(at);
      c.open.steps[at].add_all();
      continue;
    }
    c.bytes[at] = values[0];
    if (values.size() == 1 || (which == Open::kNoMajority && values.has_majority())) continue;
    c.open.open.set(at);
    for (std::size_t i = 1; i < values.size(); ++i) {
      c.open.steps[at].add(static_cast<std::uint8_t>(values[0] ^ values[i]));
    }
  }
  return c;
}

struct Run {
  std::size_t first, end;
};
/// Stretches of set bits with at most `gap` others in between.
std::vector<Run> runs_of(const ErasureSet& set, std::size_t gap) {
  std::vector<Run> runs;
  for (std::size_t at = 0; at < set.size(); ++at) {
    if (!set[at]) continue;
    if (!runs.empty() && at - runs.back().end <= gap) {
      runs.back().end = at + 1;
    } else {
      runs.push_back({at, at + 1});
    }
  }
  return runs;
}

class Joiner {
 public:
  Joiner(std::span<const RawVersion> versions, RawSpan out, const Expected& expected)
      : given_(versions), out_(out), expected_(expected) {}

  Sector run() {
    for (const SectorForm form : forms()) {
      place(form);
      if (placed_.size() < 2 || std::ranges::none_of(given_, is_whole)) continue;
      Versions all;
      for (const Placed& p : placed_) all.push_back(&p);
      if (form == SectorForm::kForm2 ? join_by_edc(all) : join_by_parity(all)) return joined();
    }
    Sector bad;
    bad.form = expected_.form;
    bad.data_at = layout_of(bad.form).data_at;
    bad.data_bytes = layout_of(bad.form).data_bytes;
    return bad;
  }

 private:
  static bool is_whole(const RawVersion& v) { return v.bytes.size() == kRawSectorBytes; }

  bool is_elsewhere(Bytes s) const {
    const auto lba = has_sync(s) ? header_lba(s[12], s[13], s[14]) : std::nullopt;
    return lba && expected_.lba && *lba != *expected_.lba;
  }

  /// Those with an EDC that are expected or told; all that have parity when none is.
  std::vector<SectorForm> forms() const {
    std::vector<SectorForm> tried;
    const auto consider = [&tried](SectorForm form) {
      const bool has_edc = layout_of(form).edc_at != 0;
      if (has_edc && std::ranges::find(tried, form) == tried.end()) tried.push_back(form);
    };
    consider(expected_.form);
    for (const RawVersion& v : given_) {
      if (is_whole(v)) consider(told_form(v.bytes));
    }
    if (tried.empty()) tried = {SectorForm::kMode1, SectorForm::kForm1};
    return tried;
  }

  void place(SectorForm form) {
    form_ = form;
    placed_.clear();
    const FormLayout layout = layout_of(form);
    for (const RawVersion& v : given_) {
      Placed p;
      if (is_whole(v)) {
        if (form != SectorForm::kMode1 && is_elsewhere(v.bytes)) continue;
        std::ranges::copy(v.bytes, p.bytes.begin());
        p.held.set();
        if (v.erasures != nullptr) p.held &= ~*v.erasures;
        put_facts(p.bytes, form, expected_);
        const std::size_t facts = form != SectorForm::kMode1 || expected_.lba ? kSubheaderAt : kSyncBytes;
        for (std::size_t at = 0; at < facts; ++at) p.held.set(at);
      } else if (v.bytes.size() == layout.data_bytes) {
        std::ranges::copy(v.bytes, p.bytes.begin() + layout.data_at);
        for (std::size_t at = 0; at < layout.data_bytes; ++at) p.held.set(layout.data_at + at);
        if (v.erasures != nullptr) p.held &= ~*v.erasures;
      } else {
        continue;
      }
      for (std::size_t at = 0; at < kRawSectorBytes; ++at) p.bytes[at] = p.held[at] ? p.bytes[at] : std::uint8_t{0};
      const bool known = std::ranges::any_of(
          placed_, [&p](const Placed& other) { return p.bytes == other.bytes && p.held == other.held; });
      if (!known) placed_.push_back(p);
    }
  }

  // ---- mode 1 and form 1

  bool join_by_parity(const Versions& all) {
    if (by_choice(all, Open::kNoMajority)) return true;
    if (all.size() > 2 && by_choice(all, Open::kDiffering)) return true;
    if (by_erasures(all)) return true;
    for (const Placed* v : all) {
      if (!v->held.all() && by_filling(all, *v)) return true;
    }
    if (all.size() == 2) return false;
    std::size_t pairs = 0;
    for (std::size_t i = 0; i < all.size(); ++i) {
      for (std::size_t j = i + 1; j < all.size() && pairs < kMostPairs; ++j, ++pairs) {
        const Versions pair{all[i], all[j]};
        if (by_choice(pair, Open::kNoMajority) || by_erasures(pair)) return true;
      }
    }
    return false;
  }

  bool by_choice(const Versions& versions, Open which) {
    Composed c = compose(versions, which);
    if (by_runs(versions, c)) return true;
    choose(c.bytes, c.open);
    return finish(c.bytes, c.open.open);
  }

  /// Each run of open bytes as in one of the versions.
  bool by_runs(const Versions& versions, const Composed& c) {
    const std::vector<RawSector> filled = fill(versions, c.bytes);
    for (const std::size_t gap : kGaps) {
      std::vector<Alternative> alternatives;
      for (const RunChoice& choice : choices_of(runs_of(c.open.open, gap), c.bytes, filled)) {
        for (std::size_t i = 1; i < choice.from.size(); ++i) {
          alternatives.push_back({choice.run.first, choice.run.end, choice.from[i]});
        }
      }
      if (alternatives.size() > kMostAlternatives) continue;
      RawSector s = c.bytes;
      return choose_runs(s, alternatives) && agrees(s) && accept(s);
    }
    return false;
  }

  bool by_erasures(const Versions& versions) {
    const Composed c = compose(versions, Open::kDiffering);
    return finish(c.bytes, c.open.open);
  }

  /// A version that lacks bytes, with those of the others.
  bool by_filling(const Versions& versions, const Placed& v) {
    Versions others;
    std::ranges::copy_if(versions, std::back_inserter(others), [&v](const Placed* other) { return other != &v; });
    Composed c = compose(others, Open::kNoMajority);
    for (std::size_t at = 0; at < kRawSectorBytes; ++at) {
      if (v.held[at]) c.bytes[at] = v.bytes[at];
    }
    c.open.open &= ~v.held;
    if (agrees(c.bytes)) return accept(c.bytes);
    choose(c.bytes, c.open);
    return finish(c.bytes, c.open.open);
  }

  /// By correction, with what is still open as erasures.
  bool finish(const RawSector& start, const ErasureSet& open) {
    CorrectionInput input;
    input.syndromes = syndromes(start);
    input.header_is_zero = form_ == SectorForm::kForm1;
    if (open.any()) input.erasures = &open;
    for (const FirstBy first : {FirstBy::kP, FirstBy::kQ}) {
      input.first = first;
      RawSector s = start;
      const Correction left = correct(s, input);
      if (left.failing_columns == 0 && agrees(s)) return accept(s);
      if (left.failing_columns + left.failing_diagonals > kMostFailing) return false;
    }
    return false;
  }

  // ---- form 2

  bool join_by_edc(const Versions& all) {
    std::size_t left = kMostCombinations;
    if (by_combinations(all, Open::kNoMajority, left)) return true;
    if (all.size() == 2) return false;
    if (by_combinations(all, Open::kDiffering, left)) return true;
    for (std::size_t i = 0; i < all.size(); ++i) {
      for (std::size_t j = i + 1; j < all.size(); ++j) {
        if (by_combinations({all[i], all[j]}, Open::kNoMajority, left)) return true;
      }
    }
    return false;
  }

  /// Each run of open bytes as in one of the versions, in all combinations, if there are no more than `left`.
  bool by_combinations(const Versions& versions, Open which, std::size_t& left) {
    const Composed c = compose(versions, which);
    const std::vector<RawSector> filled = fill(versions, c.bytes);
    for (const std::size_t gap : kGapsByEdc) {
      const std::vector<RunChoice> choices = choices_of(runs_of(c.open.open, gap), c.bytes, filled);
      std::size_t combinations = 1;
      for (const RunChoice& choice : choices) combinations = std::min(combinations * choice.from.size(), left + 1);
      if (combinations > left) continue;
      left -= combinations;
      for (std::size_t n = 0; n < combinations; ++n) {
        RawSector s = c.bytes;
        std::size_t rest = n;
        for (const RunChoice& choice : choices) {
          const std::uint8_t* from = choice.from[rest % choice.from.size()];
          std::copy(from + choice.run.first, from + choice.run.end,
                    s.begin() + static_cast<std::ptrdiff_t>(choice.run.first));
          rest /= choice.from.size();
        }
        if (agrees(s)) return accept(s);
      }
      return false;
    }
    return false;
  }

  // ---- all

  /// The versions, each with the composed bytes where it lacks its own.
  static std::vector<RawSector> fill(const Versions& versions, const RawSector& composed) {
    std::vector<RawSector> filled(versions.size(), composed);
    for (std::size_t v = 0; v < versions.size(); ++v) {
      for (std::size_t at = 0; at < kRawSectorBytes; ++at) {
        if (versions[v]->held[at]) filled[v][at] = versions[v]->bytes[at];
      }
    }
    return filled;
  }

  /// A run, and the whole sectors that hold the different contents which it may have, the composed one first.
  struct RunChoice {
    Run run;
    std::vector<const std::uint8_t*> from;
  };
  static std::vector<RunChoice> choices_of(const std::vector<Run>& runs, const RawSector& composed,
                                           const std::vector<RawSector>& filled) {
    std::vector<RunChoice> choices;
    for (const Run& run : runs) {
      RunChoice choice{run, {composed.data()}};
      for (const RawSector& f : filled) {
        const bool known = std::ranges::any_of(choice.from, [&](const std::uint8_t* other) {
          return std::equal(other + run.first, other + run.end, f.data() + run.first);
        });
        if (!known) choice.from.push_back(f.data());
      }
      choices.push_back(std::move(choice));
    }
    return choices;
  }

  bool agrees(const RawSector& s) const { return compare_edc(s, form_) == EdcAnswer::kAgrees; }

  bool accept(const RawSector& s) {
    joined_ = s;
    if (form_ == SectorForm::kForm2) return true;
    const Syndromes sums = syndromes(s);
    bool fails = false;
    for (std::size_t c = 0; c < kColumns; ++c) fails = fails || sums.column_fails(c);
    for (std::size_t d = 0; d < kDiagonals; ++d) fails = fails || sums.diagonal_fails(d);
    if (!fails) return true;
    // With the EDC right the parity is what is wrong, or the eight bytes between, which are zero (ECMA-130 14.2).
    if (form_ == SectorForm::kMode1) std::fill_n(joined_.begin() + kMode1ZerosAt, kMode1Zeros, std::uint8_t{0});
    encode_parity(joined_);
    return true;
  }

  Sector joined() {
    Sector r;
    r.state = SectorState::kRepaired;
    r.proven = true;
    r.form = form_;
    r.data_at = layout_of(form_).data_at;
    r.data_bytes = layout_of(form_).data_bytes;
    for (std::size_t at = 0; at < kRawSectorBytes; ++at) {
      const bool read =
          std::ranges::any_of(placed_, [&](const Placed& p) { return p.held[at] && p.bytes[at] == joined_[at]; });
      r.corrected_bytes = static_cast<std::uint16_t>(r.corrected_bytes + (read ? 0 : 1));
    }
    if (form_ != SectorForm::kMode1) put_header();
    std::ranges::copy(joined_, out_.begin());
    r.lba = header_lba(out_[12], out_[13], out_[14]);
    return r;
  }

  /// Of mode 2, which no code covers: that of a version, best of one that is in its place.
  void put_header() {
    const RawVersion* best = nullptr;
    for (const RawVersion& v : given_) {
      if (!is_whole(v)) continue;
      const auto lba = header_lba(v.bytes[12], v.bytes[13], v.bytes[14]);
      const bool in_place = lba && (v.bytes[kModeAt] & 3) == 2 && (!expected_.lba || *lba == *expected_.lba);
      if (best == nullptr || in_place) best = &v;
      if (in_place) break;
    }
    if (best != nullptr) std::copy_n(best->bytes.begin() + kHeaderAt, 4, joined_.begin() + kHeaderAt);
  }

  std::span<const RawVersion> given_;
  RawSpan out_;
  const Expected& expected_;
  SectorForm form_ = SectorForm::kUnknown;
  std::vector<Placed> placed_;
  RawSector joined_{};
};

}  // namespace

Sector join(std::span<const RawVersion> versions, RawSpan out, const Expected& expected) {
  return Joiner(versions.first(std::min(versions.size(), kMostVersions)), out, expected).run();
}

}  // namespace lacuna::cd
