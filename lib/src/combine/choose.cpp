// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/choose.h"

#include <algorithm>
#include <array>

#include "lacuna/verdict.h"

namespace lacuna {
namespace {

/// Candidates with the same bytes.
struct Group {
  std::uint8_t first = 0;  ///< Index of its first candidate.
  unsigned members = 0;
  ReadMask reads = 0;
};

constexpr ReadMask bit(const Candidate& c) noexcept { return ReadMask{1} << c.read; }

class Groups {
 public:
  /// Of the candidates that `takes`.
  template <class Takes>
  Groups(std::span<const Candidate> candidates, Takes&& takes) : candidates_(candidates) {
    for (std::size_t i = 0; i < candidates.size(); ++i) {
      if (takes(i)) add(i);
    }
  }

  bool empty() const noexcept { return count_ == 0; }
  std::size_t size() const noexcept { return count_; }
  unsigned members() const noexcept {
    unsigned sum = 0;
    for (std::size_t g = 0; g < count_; ++g) sum += groups_[g].members;
    return sum;
  }
  /// The one with most members, of those the earliest.
  const Group& largest() const noexcept {
    return *std::max_element(groups_.begin(), groups_.begin() + static_cast<std::ptrdiff_t>(count_),
                             [](const Group& a, const Group& b) { return a.members < b.members; });
  }

 private:
  void add(std::size_t i) {
    const auto same = [&](const Group& g) {
      return std::ranges::equal(candidates_[g.first].bytes, candidates_[i].bytes);
    };
    const auto end = groups_.begin() + static_cast<std::ptrdiff_t>(count_);
    auto at = std::find_if(groups_.begin(), end, same);
    if (at == end) {
      *at = {static_cast<std::uint8_t>(i), 0, 0};
      ++count_;
    }
    ++at->members;
    at->reads |= bit(candidates_[i]);
  }

  std::span<const Candidate> candidates_;
  std::array<Group, kMostReads> groups_{};
  std::size_t count_ = 0;
};

class Chooser {
 public:
  explicit Chooser(std::span<const Candidate> candidates)
      : candidates_(candidates.first(std::min(candidates.size(), kMostReads))) {}

  Choice choose() const {
    const auto proven = [](const Candidate& c) { return c.proven && c.state == SectorState::kGood; };
    const auto repaired = [](const Candidate& c) { return c.state == SectorState::kRepaired; };
    if (const Groups g = of(proven); !g.empty()) return by_code(g, Settled::kProven, SectorState::kGood, Basis::kEdc);
    if (const Groups g = of(repaired); !g.empty()) {
      const bool coded = candidates_[g.largest().first].proven;
      return by_code(g, Settled::kRepaired, SectorState::kRepaired, coded ? Basis::kEdc : Basis::kMap);
    }
    return by_agreement();
  }

 private:
  template <class Is>
  Groups of(Is&& is) const {
    return Groups(candidates_, [&](std::size_t i) { return is(candidates_[i]); });
  }

  Choice by_code(const Groups& groups, Settled how, SectorState state, Basis basis) const {
    if (groups.size() > 1) return conflict(groups);
    return taking(groups.largest(), state, how, basis);
  }

  Choice by_agreement() const {
    const Groups good(candidates_,
                      [&](std::size_t i) { return candidates_[i].state == SectorState::kGood && !is_fill(i); });
    if (good.empty()) return without_good();
    const Group& largest = good.largest();
    if (good.size() == 1) {
      if (largest.members == 1) return taking(largest, SectorState::kGood, Settled::kAlone, basis_of(largest));
      return taking(largest, SectorState::kGood, Settled::kAgreed, basis_of(largest));
    }
    if (good.members() >= 3 && largest.members * 2 > good.members()) {
      return taking(largest, SectorState::kGood, Settled::kMajority, basis_of(largest));
    }
    return conflict(good);
  }

  Choice without_good() const {
    if (const Groups fill(candidates_, [&](std::size_t i) { return candidates_[i].state == SectorState::kGood; });
        !fill.empty()) {
      return taking(fill.largest(), SectorState::kSuspect, Settled::kFill, Basis::kAssumed);
    }
    if (const Groups suspect = of([](const Candidate& c) { return c.state == SectorState::kSuspect; });
        !suspect.empty()) {
      return taking(suspect.largest(), SectorState::kSuspect, Settled::kSuspect, basis_of(suspect.largest()));
    }
    // What was tried counts: bad before unread before absent.
    Choice none;
    for (const Candidate& c : candidates_) none.state = std::min(none.state, c.state);
    return none;
  }

  bool is_fill(std::size_t i) const {
    const Candidate& c = candidates_[i];
    if (c.proven || c.basis != Basis::kAssumed) return false;
    const bool questioned = std::ranges::any_of(candidates_, [&](const Candidate& other) {
      return other.state == SectorState::kBad || (has_bytes(other.state) && !std::ranges::equal(other.bytes, c.bytes));
    });
    return questioned && uniform_period(c.bytes) != 0;
  }

  Basis basis_of(const Group& group) const {
    Basis best = Basis::kAssumed;
    for (const Candidate& c : candidates_) {
      if ((group.reads & bit(c)) != 0) best = std::min(best, c.basis);
    }
    return best;
  }

  Choice conflict(const Groups& groups) const {
    return taking(groups.largest(), SectorState::kSuspect, Settled::kConflict, basis_of(groups.largest()));
  }

  Choice taking(const Group& group, SectorState state, Settled how, Basis basis) const {
    Choice choice{state, how, basis, group.first, 0, 0};
    for (std::size_t i = 0; i < candidates_.size(); ++i) {
      const Candidate& c = candidates_[i];
      if (!has_bytes(c.state)) continue;
      if (std::ranges::equal(c.bytes, candidates_[group.first].bytes)) {
        choice.agreeing |= bit(c);
      } else if (c.state != SectorState::kSuspect && !is_fill(i)) {
        choice.against |= bit(c);
      }
    }
    return choice;
  }

  std::span<const Candidate> candidates_;
};

}  // namespace

Choice choose(std::span<const Candidate> candidates) { return Chooser(candidates).choose(); }

}  // namespace lacuna
