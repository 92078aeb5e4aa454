// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/cd/choices.h"

#include <algorithm>
#include <bit>
#include <bitset>
#include <cstring>
#include <optional>
#include <vector>

namespace lacuna::cd {
namespace {

// Unknowns of one codeword, fewest first: 16 equations, of which those that are not needed check the answer.
constexpr std::array<std::size_t, 3> kMostOfCodeword{8, 12, 15};
/// Open bytes of a codeword of which one may have none of its values.
constexpr std::size_t kMostButOne = 3;
constexpr std::array<std::uint8_t, 8> kAnyValue{1, 2, 4, 8, 16, 32, 64, 128};
// Unknowns of all codewords: 2208 equations, of which at least half are to be left to check.
constexpr std::size_t kMostAtOnce = 1024;

/// The sums of all codewords as one vector of bits.
class SumVector {
 public:
  SumVector() = default;
  explicit SumVector(const Syndromes& s) noexcept {
    static_assert(sizeof(Syndromes) == 2 * (kColumns + kDiagonals));
    std::memcpy(words_.data(), &s, sizeof s);
  }
  void add(const SumVector& o) noexcept {
    for (std::size_t i = 0; i < kWords; ++i) words_[i] ^= o.words_[i];
  }
  /// Of the first bit that is set; kBits: none.
  std::size_t first_bit(std::size_t from_word) const noexcept {
    for (std::size_t i = from_word; i < kWords; ++i) {
      if (words_[i] != 0) return 64 * i + static_cast<std::size_t>(std::countr_zero(words_[i]));
    }
    return kBits;
  }

  static constexpr std::size_t kWords = (sizeof(Syndromes) + 7) / 8, kBits = 64 * kWords;

 private:
  std::array<std::uint64_t, kWords> words_{};
};

void add_to(Syndromes& s, std::size_t at, std::uint8_t value) noexcept {
  const Symbol symbol = symbol_at(at);
  s.q0[symbol.diagonal] ^= value;
  s.q1[symbol.diagonal] ^= multiply(value, weight_in<Diagonals>(symbol.diagonal_symbol));
  if (symbol.column == kColumns) return;
  s.p0[symbol.column] ^= value;
  s.p1[symbol.column] ^= multiply(value, weight_in<Columns>(symbol.column_symbol));
}

/// Unknowns, each of which adds a vector of sums or does not.
class Elimination {
 public:
  using Which = std::bitset<kMostAtOnce>;

  Elimination() { pivots_.fill(kNone); }

  /// False: what it adds is a sum of what others add, so that no answer would be the only one.
  bool add(SumVector sums) {
    Which of;
    of.set(rows_.size());
    const std::size_t bit = reduce(sums, of);
    if (bit == SumVector::kBits) return false;
    pivots_[bit] = static_cast<std::uint16_t>(rows_.size());
    rows_.push_back({sums, of});
    return true;
  }
  /// Those that add up to the sums.
  std::optional<Which> solve(SumVector sums) const {
    Which of;
    if (reduce(sums, of) != SumVector::kBits) return std::nullopt;
    return of;
  }

 private:
  struct Row {
    SumVector sums;
    Which of;
  };
  static constexpr std::uint16_t kNone = 0xffff;

  /// Gives the first bit that no row takes away.
  std::size_t reduce(SumVector& sums, Which& of) const {
    std::size_t bit = sums.first_bit(0);
    while (bit != SumVector::kBits && pivots_[bit] != kNone) {
      sums.add(rows_[pivots_[bit]].sums);
      of ^= rows_[pivots_[bit]].of;
      bit = sums.first_bit(bit / 64);
    }
    return bit;
  }

  std::vector<Row> rows_;
  std::array<std::uint16_t, SumVector::kBits> pivots_{};
};

class Chooser {
 public:
  Chooser(RawSpan sector, OpenBytes& bytes) : sector_(sector), bytes_(bytes), s_(syndromes(sector)) {}

  void run() {
    do {
      for (std::size_t level = 0; level < kMostOfCodeword.size();) {
        const bool by_columns = decide_all<Columns>(kMostOfCodeword[level]);
        const bool any = decide_all<Diagonals>(kMostOfCodeword[level]) || by_columns;
        level = any ? 0 : level + 1;
      }
    } while (decide_all_but_one());
    decide_at_once();
  }

 private:
  struct Unknown {
    std::uint16_t at;
    std::uint8_t step;
  };
  struct Pivot {
    unsigned sums = 0, of = 0;
  };

  unsigned sums(Columns, std::size_t c) const { return s_.p0[c] | unsigned{s_.p1[c]} << 8; }
  unsigned sums(Diagonals, std::size_t d) const { return s_.q0[d] | unsigned{s_.q1[d]} << 8; }

  void take(const Unknown& u) {
    sector_[u.at] ^= u.step;
    add_to(s_, u.at, u.step);
  }

  template <class Kind>
  bool decide_all(std::size_t most) {
    bool any = false;
    for (std::size_t w = 0; w < Kind::kCount; ++w) any = decide<Kind>(w, most) || any;
    return any;
  }

  bool decide_all_but_one() {
    bool any = false;
    for (std::size_t c = 0; c < Columns::kCount; ++c) any = decide_but_one<Columns>(c) || any;
    for (std::size_t d = 0; d < Diagonals::kCount; ++d) any = decide_but_one<Diagonals>(d) || any;
    return any;
  }

  /// Unknowns of a codeword and which of them are taken.
  struct Answer {
    std::array<Unknown, 16> unknowns;
    std::size_t count = 0;
    unsigned taken = 0;
  };
  static constexpr std::size_t kNoSymbol = kDiagonalSymbols;

  /// By Gaussian elimination over 16 equations, with at most so many unknowns; of the symbol `wild` nothing is known.
  /// Nothing: several answers, or none.
  template <class Kind>
  std::optional<Answer> solve(std::size_t w, std::size_t most, std::size_t wild) const {
    Answer a;
    std::array<Pivot, 16> pivots{};  // by the highest bit of their sums
    const auto reduce = [&pivots](Pivot& p) {
      while (p.sums != 0) {
        const Pivot& row = pivots[static_cast<std::size_t>(std::bit_width(p.sums)) - 1];
        if (row.sums == 0) return;
        p.sums ^= row.sums;
        p.of ^= row.of;
      }
    };
    for (std::size_t i = 0; i < Kind::kSymbols; ++i) {
      const std::size_t at = Kind::at(w, i);
      if (!bytes_.open[at]) continue;
      for (const std::uint8_t step : i == wild ? std::span<const std::uint8_t>(kAnyValue) : bytes_.steps[at].all()) {
        if (a.count == most) return std::nullopt;
        Pivot p{step | unsigned{multiply(step, weight_in<Kind>(i))} << 8, 1U << a.count};
        reduce(p);
        if (p.sums == 0) return std::nullopt;
        pivots[static_cast<std::size_t>(std::bit_width(p.sums)) - 1] = p;
        a.unknowns[a.count++] = {static_cast<std::uint16_t>(at), step};
      }
    }
    Pivot answer{sums(Kind{}, w), 0};
    reduce(answer);
    if (answer.sums != 0) return std::nullopt;
    a.taken = answer.of;
    return a;
  }

  void close(const Answer& a) {
    for (std::size_t i = 0; i < a.count; ++i) {
      if ((a.taken >> i & 1) != 0) take(a.unknowns[i]);
      bytes_.open.reset(a.unknowns[i].at);
    }
  }

  /// True when the codeword's bytes were decided.
  template <class Kind>
  bool decide(std::size_t w, std::size_t most) {
    const std::optional<Answer> a = solve<Kind>(w, most, kNoSymbol);
    if (!a || a->count == 0) return false;
    close(*a);
    return true;
  }

  /// The same where one of the bytes may have another value than those it may have.
  template <class Kind>
  bool decide_but_one(std::size_t w) {
    std::optional<Answer> only;
    std::size_t open = 0;
    for (std::size_t i = 0; i < Kind::kSymbols; ++i) {
      if (!bytes_.open[Kind::at(w, i)]) continue;
      if (++open > kMostButOne) return false;
      const std::optional<Answer> a = solve<Kind>(w, 16, i);
      if (!a) continue;
      if (only) return false;
      only = a;
    }
    if (!only) return false;
    close(*only);
    return true;
  }

  void decide_at_once() {
    std::vector<Unknown> unknowns;
    for (std::size_t at = 0; at < kRawSectorBytes; ++at) {
      if (!bytes_.open[at]) continue;
      for (const std::uint8_t step : bytes_.steps[at].all()) {
        if (unknowns.size() == kMostAtOnce) return;
        unknowns.push_back({static_cast<std::uint16_t>(at), step});
      }
    }
    if (unknowns.empty()) return;
    Elimination all;
    for (const Unknown& u : unknowns) {
      Syndromes sums{};
      add_to(sums, u.at, u.step);
      if (!all.add(SumVector(sums))) return;
    }
    const auto answer = all.solve(SumVector(s_));
    if (!answer) return;
    for (std::size_t i = 0; i < unknowns.size(); ++i) {
      if ((*answer)[i]) take(unknowns[i]);
    }
    bytes_.open.reset();
  }

  RawSpan sector_;
  OpenBytes& bytes_;
  Syndromes s_;
};

}  // namespace

void Steps::add(std::uint8_t step) noexcept {
  for (const std::uint8_t other : all()) step = std::min<std::uint8_t>(step, step ^ other);
  if (step != 0 && count_ < steps_.size()) steps_[count_++] = step;
}

void Steps::add_all() noexcept {
  for (unsigned bit = 0; bit < 8; ++bit) add(static_cast<std::uint8_t>(1U << bit));
}

void choose(RawSpan sector, OpenBytes& bytes) { Chooser(sector, bytes).run(); }

bool choose_runs(RawSpan sector, std::span<const Alternative> alternatives) {
  if (alternatives.empty() || alternatives.size() > kMostAlternatives) return false;
  Elimination all;
  for (const Alternative& a : alternatives) {
    Syndromes sums{};
    for (std::size_t at = std::max(a.first, kSyncBytes); at < a.end; ++at) {
      const auto step = static_cast<std::uint8_t>(sector[at] ^ a.other[at]);
      if (step != 0) add_to(sums, at, step);
    }
    if (!all.add(SumVector(sums))) return false;
  }
  const auto answer = all.solve(SumVector(syndromes(sector)));
  if (!answer) return false;
  std::array<std::uint8_t, kRawSectorBytes> chosen;
  std::ranges::copy(sector, chosen.begin());
  for (std::size_t i = 0; i < alternatives.size(); ++i) {
    if (!(*answer)[i]) continue;
    const Alternative& a = alternatives[i];
    for (std::size_t at = a.first; at < a.end; ++at) {
      chosen[at] = static_cast<std::uint8_t>(chosen[at] ^ sector[at] ^ a.other[at]);
    }
  }
  std::ranges::copy(chosen, sector.begin());
  return true;
}

}  // namespace lacuna::cd
