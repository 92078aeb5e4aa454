// SPDX-License-Identifier: GPL-3.0-or-later
// A turn at radius r has 2 pi r / s sectors of length s, and its square grows evenly with the LBA: by 4 pi p / s, with
// the pitch p. These two numbers, the square at one LBA and its growth, say at which part of its turn every sector
// lies. They are found where runs are densest, in a stretch so short that the growth hardly counts, by trying all
// lengths of a turn; then the stretch is widened step by step, and both are tuned to it each time. How well runs line
// up is the length of the mean of their directions, as unit vectors; by chance its square times their number is seldom
// above 10 (Rayleigh).
#include "report/spiral_fit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

namespace lacuna::report {
namespace {

using std::numbers::pi;

constexpr std::size_t kFewestRuns = 30, kMostStretches = 12, kMostFollowed = 3, kMostRuns = 200'000;
// Of Rayleigh's test: what is worth following, and what is far beyond chance in as many trials as are made.
constexpr double kHopeful = 18, kLeast = 40;
constexpr double kLongestRun = 0.6;  ///< Of a turn: longer ones say nothing of an angle.
constexpr double kWiden = 1.5;

/// The square of the sectors a turn at LBA `centre`, and how much it grows a sector.
struct Winding {
  double square = 0, growth = 0;

  /// Turns from the centre to a place so many sectors behind it.
  double turns(double sectors) const noexcept {
    return 2 * sectors / (std::sqrt(std::max(square + growth * sectors, 1.0)) + std::sqrt(square));
  }
};

/// How far discs of a type differ from it, as parts of the sectors a turn and of their growth. A CD's scanning velocity
/// is 1.2 to 1.4 m/s and its pitch 1.5 to 1.7 um (ECMA-130); a DVD's and a BD's are given to 1 to 2 percent (ECMA-267
/// and others; all from memory).
struct Tolerance {
  double least_turn, most_turn, least_growth, most_growth;
};
Tolerance tolerance_of(Medium medium) {
  return medium == Medium::kCd ? Tolerance{0.8, 1.08, 0.72, 1.12} : Tolerance{0.97, 1.03, 0.95, 1.05};
}

/// How closely a stretch is looked at.
struct Look {
  std::size_t runs;       ///< At most; of more, some are taken evenly.
  std::size_t parts = 1;  ///< Each of which is to line up by itself.
  int multiples = 1;      ///< Of the angles: many tell narrow lines from broad ones.
};
// Only a stretch too short for a second scratch is looked at as a whole: else a winding would win that makes one line
// of several scratches.
constexpr Look kFirstLook{400}, kWideLook{600, 4, 4}, kLastLook{2500, 12, 6};

/// Middles of runs, in sectors from a centre.
class Places {
 public:
  Places(const std::vector<double>& middles, double centre, double reach, const Look& look)
      : multiples_(look.multiples), part_(2 * reach / static_cast<double>(look.parts)), first_end_(part_ - reach) {
    const auto first = std::ranges::lower_bound(middles, centre - reach),
               end = std::ranges::upper_bound(middles, centre + reach);
    const auto all = static_cast<std::size_t>(end - first), step = all / look.runs + 1;
    for (std::size_t i = 0; i < all; i += step) from_centre_.push_back(first[static_cast<std::ptrdiff_t>(i)] - centre);
  }

  /// Rayleigh's statistic, summed over parts and multiples.
  double score(const Winding& winding) const noexcept {
    double score = 0, part_end = first_end_;
    struct Sum {
      double x = 0, y = 0;
    };
    std::array<Sum, kLastLook.multiples> sums{};
    std::size_t runs = 0;
    const auto finish_part = [&] {
      for (Sum& s : sums) {
        if (runs != 0) score += (s.x * s.x + s.y * s.y) / static_cast<double>(runs);
        s = {};
      }
      runs = 0;
    };
    for (const double sectors : from_centre_) {
      if (sectors > part_end) {
        finish_part();
        part_end += part_ * std::ceil((sectors - part_end) / part_);
      }
      ++runs;
      // Each multiple turns the one before by the angle once more.
      const double angle = 2 * pi * winding.turns(sectors), cosine = std::cos(angle), sine = std::sin(angle);
      double x = 1, y = 0;
      for (int k = 0; k < multiples_; ++k) {
        const double turned = x * cosine - y * sine;
        y = x * sine + y * cosine;
        x = turned;
        sums[static_cast<std::size_t>(k)].x += x;
        sums[static_cast<std::size_t>(k)].y += y;
      }
    }
    finish_part();
    return score;
  }

 private:
  int multiples_;
  double part_, first_end_;  ///< Sectors.
  std::vector<double> from_centre_;
};

class Fitter {
 public:
  Fitter(const DiscGeometry& geometry, std::vector<double> middles)
      : middles_(std::move(middles)), tolerance_(tolerance_of(geometry.measures().medium)) {
    const double sector = geometry.sector_mm(), start = geometry.layers()[0].start_radius;
    growth_ = 4 * pi * geometry.pitch_mm() / sector;
    square_at_0_ = 4 * pi * pi * start * start / sector / sector;
  }

  /// The winding at LBA 0; nothing when the runs line up no better than by chance.
  std::optional<Winding> best() const {
    std::optional<Winding> best;
    double best_score = 0;
    std::size_t followed = 0;
    for (const double centre : densest()) {
      if (followed == kMostFollowed) break;
      Winding found;
      if (start(centre, found) < kHopeful) continue;
      ++followed;
      found = follow(centre, found);
      const double score = all(kWideLook).score(at_middle(found));
      if (score <= best_score) continue;
      best_score = score;
      best = found;
    }
    if (!best) return {};
    const Places places = all(kLastLook);
    Winding tuned_last = at_middle(*best);
    for (const double fine : {1.0, 0.4, 0.15, 0.05}) tuned_last = tuned(tuned_last, places, reach_of_all(), fine);
    // By chance each part and each multiple gives 1 on the mean, and seldom more than 10 in all beyond that.
    constexpr double kByChance = static_cast<double>(kLastLook.parts) * kLastLook.multiples;
    if (places.score(tuned_last) < kByChance + std::max(kLeast, 0.1 * static_cast<double>(tried()))) return {};
    tuned_last.square -= tuned_last.growth * middle_of_all();
    return tuned_last;
  }

 private:
  double middle_of_all() const { return (middles_.front() + middles_.back()) / 2; }
  double reach_of_all() const { return std::max((middles_.back() - middles_.front()) / 2, 1.0); }
  Places all(const Look& look) const { return {middles_, middle_of_all(), reach_of_all(), look}; }
  Winding at_middle(const Winding& at_0) const { return {at_0.square + at_0.growth * middle_of_all(), at_0.growth}; }
  std::size_t tried() const { return std::min(middles_.size(), kLastLook.runs); }

  /// So many sectors to either side that no growth within tolerance turns the last one by more than a tenth.
  double first_reach(double centre) const {
    const double turn = std::sqrt(square_at_0_ + growth_ * centre);
    const double unsure = growth_ * (tolerance_.most_growth - tolerance_.least_growth) / 2;
    return std::sqrt(0.1 * 4 * turn * turn * turn / unsure);
  }

  /// Middles of the stretches with most runs, which don't overlap.
  std::vector<double> densest() const {
    std::vector<std::pair<std::size_t, double>> stretches;
    for (std::size_t i = 0, end = 0; i < middles_.size(); ++i) {
      const double reach = first_reach(middles_[i]);
      while (end < middles_.size() && middles_[end] <= middles_[i] + 2 * reach) ++end;
      stretches.emplace_back(end - i, middles_[i] + reach);
    }
    std::ranges::sort(stretches, std::greater<>());
    std::vector<double> chosen;
    for (const auto& [runs, centre] : stretches) {
      if (chosen.size() == kMostStretches) break;
      const double at = centre, apart = 2 * first_reach(centre);
      if (std::ranges::all_of(chosen, [&](double c) { return std::abs(c - at) >= apart; })) chosen.push_back(at);
    }
    return chosen;
  }

  /// Tries all lengths of a turn in a short stretch; gives the score of the best.
  double start(double centre, Winding& best) const {
    const double square = square_at_0_ + growth_ * centre, turn = std::sqrt(square), reach = first_reach(centre);
    const double middle_growth = growth_ * (tolerance_.least_growth + tolerance_.most_growth) / 2;
    const Places near(middles_, centre, reach, kFirstLook);
    double best_score = -1;
    // Steps of an eighth of a turn at the stretch's ends.
    for (double part = tolerance_.least_turn; part <= tolerance_.most_turn; part += turn / (8 * reach)) {
      const Winding tried{square * part * part, middle_growth};
      if (const double score = near.score(tried); score > best_score) {
        best_score = score;
        best = tried;
      }
    }
    return best_score;
  }

  /// From a short stretch to all runs; the winding at `centre` becomes that at LBA 0.
  Winding follow(double centre, Winding best) const {
    double reach = first_reach(centre);
    for (bool last = false; !last;) {
      // Around the middle of what there is, square and growth depend on each other least.
      const double from = std::max(centre - kWiden * reach, middles_.front()),
                   to = std::min(centre + kWiden * reach, middles_.back());
      last = from <= middles_.front() && to >= middles_.back();
      best.square += best.growth * ((from + to) / 2 - centre);
      centre = (from + to) / 2;
      reach = std::max((to - from) / 2, 1.0);
      const Places places(middles_, centre, reach, kWideLook);
      for (const double fine : {1.0, 0.4, 0.15}) best = tuned(best, places, reach, fine);
    }
    best.square -= best.growth * centre;
    return best;
  }

  /// The best around a winding, in steps of `fine` eighths of a turn at the stretch's ends.
  Winding tuned(const Winding& around, const Places& places, double reach, double fine) const {
    const double turn = std::sqrt(around.square);
    const double square_step = fine * around.square * 2 * turn / (8 * reach),
                 growth_step = std::min(fine * turn * turn * turn / (2 * reach * reach), growth_ / 20);
    Winding best = around;
    double best_score = places.score(around);
    for (int i = -4; i <= 4; ++i) {
      for (int j = -4; j <= 4; ++j) {
        Winding tried{around.square + i * square_step, around.growth + j * growth_step};
        tried.growth = std::clamp(tried.growth, growth_ * tolerance_.least_growth, growth_ * tolerance_.most_growth);
        if (const double score = places.score(tried); score > best_score) {
          best_score = score;
          best = tried;
        }
      }
    }
    return best;
  }

  std::vector<double> middles_;  ///< Ascending.
  Tolerance tolerance_;
  double square_at_0_ = 0, growth_ = 0;  ///< By the published measures.
};

}  // namespace

std::optional<SpiralFit> fit_spiral(const DiscGeometry& geometry, std::span<const SectorRun> runs) {
  const DiscMeasures& measures = geometry.measures();
  if (measures.layers != 1 || measures.zones != 0 || !geometry.fits()) return {};
  std::vector<double> middles;
  for (const SectorRun& r : runs) {
    const bool tells =
        r.state == SectorState::kSuspect || r.state == SectorState::kBad || r.state == SectorState::kUnread;
    if (!tells || r.end() > geometry.sectors()) continue;
    if (geometry.turns_at(0, r.end()) - geometry.turns_at(0, r.first) > kLongestRun) continue;
    middles.push_back(static_cast<double>(r.first) + static_cast<double>(r.count) / 2);
    if (middles.size() == kMostRuns) break;
  }
  if (middles.size() < kFewestRuns) return {};
  const std::size_t count = middles.size();
  const std::optional<Winding> winding = Fitter(geometry, std::move(middles)).best();
  if (!winding) return {};
  const double inner_square = winding->square - measures.lead_sectors * winding->growth;
  if (inner_square <= 0) return {};
  SpiralFit fit;
  fit.sector_mm = 2 * pi * measures.inner / std::sqrt(inner_square);
  fit.pitch_mm = winding->growth * fit.sector_mm / (4 * pi);
  fit.runs = count;
  // A disc can't be wound further out than it is.
  const double end = geometry.with_winding(fit.sector_mm, fit.pitch_mm).layers()[0].end_radius;
  if (end > measures.rim - 1) return {};
  return fit;
}

}  // namespace lacuna::report
