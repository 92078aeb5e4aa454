// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/cd/correction.h"

#include <algorithm>
#include <bitset>
#include <utility>

#include "media/cd/galois.h"

namespace lacuna::cd {
namespace {

// Damage that can be corrected takes two or three rounds; more are random walks.
constexpr int kMaxRounds = 12;
/// With more failing codewords there is nothing to start from.
constexpr int kTooMany = 100;

class Corrector {
 public:
  Corrector(RawSpan sector, const CorrectionInput& input) : sector_(sector), s_(input.syndromes) {
    std::ranges::copy(sector, given_.begin());
    first_free_ = kSyncBytes + (input.header_is_zero ? 4 : 0);
    for (std::size_t c = 0; c < kColumns; ++c) failing_columns_ += s_.column_fails(c) ? 1 : 0;
    for (std::size_t d = 0; d < kDiagonals; ++d) failing_diagonals_ += s_.diagonal_fails(d) ? 1 : 0;
    if (input.erasures == nullptr) return;
    open_ = *input.erasures;
    for (std::size_t at = 0; at < kRawSectorBytes; ++at) {
      if (open_[at] && at < first_free_) open_.reset(at);
      if (open_[at]) count_erasure(at, 1);
    }
  }

  Correction run(FirstBy first) {
    int best = kColumns + kDiagonals + 1;
    for (int round = 0; round < kMaxRounds; ++round) {
      correct_surely(first);
      const int now = failing();
      if (now == 0) break;
      if (correct_pairs() || correct_crossings()) continue;
      // Stuck: the corrections that a codeword across still speaks against may have been mistaken. When refusing them
      // gets no further, they are let through again.
      if (now > kTooMany) break;
      if (now < best && take_back()) {
        best = now;
        continue;
      }
      if (refused_.none()) break;
      refused_.reset();
    }
    return {static_cast<std::size_t>(failing_columns_), static_cast<std::size_t>(failing_diagonals_)};
  }

 private:
  /// A correction of a symbol of unknown place.
  struct Made {
    std::uint16_t at;
    std::uint8_t value;
    bool by_column;
  };

  static constexpr bool by_column(Columns) { return true; }
  static constexpr bool by_column(Diagonals) { return false; }
  std::uint8_t sum0(Columns, std::size_t c) const { return s_.p0[c]; }
  std::uint8_t sum1(Columns, std::size_t c) const { return s_.p1[c]; }
  std::uint8_t sum0(Diagonals, std::size_t d) const { return s_.q0[d]; }
  std::uint8_t sum1(Diagonals, std::size_t d) const { return s_.q1[d]; }
  bool fails(Columns, std::size_t c) const { return s_.column_fails(c); }
  bool fails(Diagonals, std::size_t d) const { return s_.diagonal_fails(d); }
  std::uint8_t erased(Columns, std::size_t c) const { return erased_p_[c]; }
  std::uint8_t erased(Diagonals, std::size_t d) const { return erased_q_[d]; }

  /// Whether the codeword of the other kind speaks against this byte, too; where there is none it doesn't matter.
  bool crossing_fails(Columns, std::size_t at) const {
    const std::size_t d = symbol_at(at).diagonal;
    return s_.diagonal_fails(d) || erased_q_[d] != 0;
  }
  bool crossing_fails(Diagonals, std::size_t at) const {
    const std::size_t c = symbol_at(at).column;
    return c == kColumns || s_.column_fails(c) || erased_p_[c] != 0;
  }

  void count_erasure(std::size_t at, int n) {
    const Symbol symbol = symbol_at(at);
    erased_q_[symbol.diagonal] = static_cast<std::uint8_t>(erased_q_[symbol.diagonal] + n);
    if (symbol.column == kColumns) return;
    erased_p_[symbol.column] = static_cast<std::uint8_t>(erased_p_[symbol.column] + n);
  }

  void settle(std::size_t at) {
    if (!open_[at]) return;
    open_.reset(at);
    count_erasure(at, -1);
  }

  void add(std::size_t at, std::uint8_t value) {
    if (value == 0) return;
    sector_[at] ^= value;
    const Symbol symbol = symbol_at(at);
    count_failing(-1, symbol);
    s_.q0[symbol.diagonal] ^= value;
    s_.q1[symbol.diagonal] ^= multiply(value, weight_in<Diagonals>(symbol.diagonal_symbol));
    if (symbol.column != kColumns) {
      s_.p0[symbol.column] ^= value;
      s_.p1[symbol.column] ^= multiply(value, weight_in<Columns>(symbol.column_symbol));
    }
    count_failing(1, symbol);
  }

  void count_failing(int n, const Symbol& symbol) {
    if (s_.diagonal_fails(symbol.diagonal)) failing_diagonals_ += n;
    if (symbol.column != kColumns && s_.column_fails(symbol.column)) failing_columns_ += n;
  }
  int failing() const { return failing_columns_ + failing_diagonals_; }

  /// The first `N` erasures of a codeword that has as many.
  template <class Kind, std::size_t N>
  std::array<std::size_t, N> erasures_of(std::size_t codeword) const {
    std::array<std::size_t, N> found{};
    std::size_t n = 0;
    for (std::size_t i = 0; i < Kind::kSymbols && n < N; ++i) {
      if (open_[Kind::at(codeword, i)]) found[n++] = i;
    }
    return found;
  }

  /// By codewords with one wrong symbol, as long as there are any. Each correction leaves one failing codeword or one
  /// erasure less.
  void correct_surely(FirstBy first) {
    if (first == FirstBy::kQ) correct_single<Diagonals>();
    while (correct_single<Columns>() | correct_single<Diagonals>()) continue;
  }

  /// One wrong symbol, of unknown place or a known one: two sums tell of each other. Counts the corrections.
  template <class Kind>
  unsigned correct_single() {
    unsigned corrections = 0;
    for (std::size_t w = 0; w < Kind::kCount; ++w) {
      const std::uint8_t s0 = sum0(Kind{}, w), s1 = sum1(Kind{}, w), erasures = erased(Kind{}, w);
      if (erasures == 1) {
        const std::size_t i = erasures_of<Kind, 1>(w)[0];
        if (multiply(s0, weight_in<Kind>(i)) != s1) continue;
        add(Kind::at(w, i), s0);
        settle(Kind::at(w, i));
        ++corrections;
      } else if (erasures == 0 && s0 != 0 && s1 != 0) {
        const std::size_t power = kGalois.log[divide(s1, s0)];
        if (power >= Kind::kSymbols) continue;
        const std::size_t at = Kind::at(w, Kind::kSymbols - 1 - power);
        if (at < first_free_) continue;
        if (sector_[at] != given_[at] && (sector_[at] ^ s0) == given_[at]) {
          // Both sums of the codeword across say that this very correction was mistaken.
          if (refused_[at]) continue;
          refused_.set(at);
          add(at, s0);
          ++corrections;
          continue;
        }
        if (!crossing_fails(Kind{}, at) || refused_[at]) continue;
        add(at, s0);
        if (made_count_ < made_.size()) made_[made_count_++] = {static_cast<std::uint16_t>(at), s0, by_column(Kind{})};
        ++corrections;
      }
    }
    return corrections;
  }

  /// Takes back the single corrections that the codeword across still speaks against, and refuses them from
  /// now on. True when there were any.
  bool take_back() {
    const std::size_t count = std::exchange(made_count_, 0);
    bool any = false;
    for (std::size_t i = 0; i < count; ++i) {
      const Made m = made_[i];
      const Symbol symbol = symbol_at(m.at);
      const bool doubted = m.by_column ? s_.diagonal_fails(symbol.diagonal)
                                       : symbol.column == kColumns || s_.column_fails(symbol.column);
      if (!doubted) continue;
      add(m.at, m.value);
      refused_.set(m.at);
      any = true;
    }
    return any;
  }

  template <class Kind>
  void solve(std::size_t codeword, std::size_t i, std::size_t j) {
    const std::size_t at_i = Kind::at(codeword, i), at_j = Kind::at(codeword, j);
    const Pair pair = solve_two(sum0(Kind{}, codeword), sum1(Kind{}, codeword), weight_in<Kind>(i), weight_in<Kind>(j));
    add(at_i, pair.first);
    add(at_j, pair.second);
    settle(at_i);
    settle(at_j);
  }

  /// Two symbols of known place, with nothing left to check them by. True when there were any.
  bool correct_pairs() {
    bool any = false;
    for (std::size_t c = 0; c < kColumns; ++c) {
      if (erased_p_[c] != 2) continue;
      const auto e = erasures_of<Columns, 2>(c);
      solve<Columns>(c, e[0], e[1]);
      any = true;
    }
    for (std::size_t d = 0; d < kDiagonals; ++d) {
      if (erased_q_[d] != 2) continue;
      const auto e = erasures_of<Diagonals, 2>(d);
      solve<Diagonals>(d, e[0], e[1]);
      any = true;
    }
    return any;
  }

  /// Where at most two codewords of one kind fail among the even or the odd bytes, what is wrong stands where they
  /// cross the failing ones of the other kind, which know two places each by that. True when anything was changed.
  bool correct_crossings() {
    bool any = false;
    for (const std::size_t plane : {std::size_t{0}, std::size_t{1}}) {
      any = correct_at_failing_columns(plane) || any;
      any = correct_at_failing_diagonals(plane) || any;
    }
    return any;
  }

  /// The only two failing codewords of a kind in a plane; the same one twice when there is only one.
  template <class Kind>
  bool two_failing(std::size_t plane, std::array<std::size_t, 2>& found) const {
    std::size_t n = 0;
    for (std::size_t w = plane; w < Kind::kCount; w += 2) {
      if (!fails(Kind{}, w)) continue;
      if (n == 2) return false;
      found[n++] = w;
    }
    if (n == 1) found[1] = found[0];
    return n != 0;
  }

  bool correct_at_failing_columns(std::size_t plane) {
    std::array<std::size_t, 2> columns{};
    if (!two_failing<Columns>(plane, columns) || columns[0] == columns[1]) return false;
    bool any = false;
    for (std::size_t d = plane; d < kDiagonals; d += 2) {
      if (!s_.diagonal_fails(d)) continue;
      // A column of words is symbol number `column` of every diagonal.
      const std::size_t i = columns[0] / 2, j = columns[1] / 2;
      if (Diagonals::at(d, i) < first_free_ || Diagonals::at(d, j) < first_free_) continue;
      solve<Diagonals>(d, i, j);
      any = true;
    }
    return any;
  }

  bool correct_at_failing_diagonals(std::size_t plane) {
    std::array<std::size_t, 2> diagonals{};
    if (!two_failing<Diagonals>(plane, diagonals) || diagonals[0] == diagonals[1]) return false;
    bool any = false;
    for (std::size_t c = plane; c < kColumns; c += 2) {
      if (!s_.column_fails(c)) continue;
      // Diagonal n crosses column m in row (n + m) mod 26.
      const std::size_t i = (diagonals[0] / 2 + c / 2) % kColumnSymbols,
                        j = (diagonals[1] / 2 + c / 2) % kColumnSymbols;
      if (Columns::at(c, i) < first_free_ || Columns::at(c, j) < first_free_) continue;
      solve<Columns>(c, i, j);
      any = true;
    }
    return any;
  }

  RawSpan sector_;
  std::array<std::uint8_t, kRawSectorBytes> given_;
  Syndromes s_;
  std::size_t first_free_ = kSyncBytes;
  int failing_columns_ = 0, failing_diagonals_ = 0;
  std::array<Made, 512> made_{};
  std::size_t made_count_ = 0;
  ErasureSet refused_;  ///< Places of corrections that were taken back.
  ErasureSet open_;     ///< Erasures not yet corrected.
  std::array<std::uint8_t, kColumns> erased_p_{};
  std::array<std::uint8_t, kDiagonals> erased_q_{};
};

}  // namespace

Correction correct(RawSpan sector, const CorrectionInput& input) noexcept {
  return Corrector(sector, input).run(input.first);
}

}  // namespace lacuna::cd
