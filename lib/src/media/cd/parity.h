// SPDX-License-Identifier: GPL-3.0-or-later
// The parity of CD sectors (ECMA-130 annex A): every byte from the header to the EDC is in one codeword of P (26
// symbols, of which 2 are parity) and one of Q (45, of which 2), bytes of even and odd place apart. The words of 2
// bytes are 26 rows of 43: P codewords are their columns, Q codewords their diagonals, and the Q parity stands behind.
// In mode 2 form 1 the header counts as zero: the caller zeroes bytes 12 to 15 of a copy.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "base/bytes.h"
#include "media/cd/galois.h"
#include "media/cd/sector.h"

namespace lacuna::cd {

inline constexpr std::size_t kColumns = 86;          ///< P codewords: 43, for even and odd bytes in turn.
inline constexpr std::size_t kDiagonals = 52;        ///< Q codewords: 26, the same.
inline constexpr std::size_t kColumnSymbols = 26;    ///< ECMA-130 A.5
inline constexpr std::size_t kDiagonalSymbols = 45;  ///< ECMA-130 A.6
inline constexpr std::size_t kQParityAt = 2248;      ///< Offset of the Q parity, which is in no P codeword.

/// Offset of a symbol of a P codeword.
constexpr std::size_t column_at(std::size_t column, std::size_t symbol) noexcept {
  return kSyncBytes + kColumns * symbol + column;
}

/// Offset of a symbol of a Q codeword.
constexpr std::size_t diagonal_at(std::size_t diagonal, std::size_t symbol) noexcept {
  const std::size_t nq = diagonal / 2, plane = diagonal % 2;
  if (symbol >= 43) return kQParityAt + kDiagonals * (symbol - 43) + diagonal;
  return kSyncBytes + 2 * (43 * ((nq + symbol) % 26) + symbol) + plane;
}

/// Columns and diagonals alike, for what is done with both: how many codewords, of how many symbols, and where.
struct Columns {
  static constexpr std::size_t kCount = kColumns, kSymbols = kColumnSymbols;
  static constexpr std::size_t at(std::size_t codeword, std::size_t symbol) { return column_at(codeword, symbol); }
};
struct Diagonals {
  static constexpr std::size_t kCount = kDiagonals, kSymbols = kDiagonalSymbols;
  static constexpr std::size_t at(std::size_t codeword, std::size_t symbol) { return diagonal_at(codeword, symbol); }
};

/// Of a symbol in the second sum of its codeword.
template <class Kind>
constexpr std::uint8_t weight_in(std::size_t symbol) noexcept {
  return kGalois.power[Kind::kSymbols - 1 - symbol];
}

/// Where a byte is a symbol: `diagonal` always, `column` unless it is Q parity.
struct Symbol {
  std::size_t column = kColumns, column_symbol = 0;
  std::size_t diagonal = 0, diagonal_symbol = 0;
};
constexpr Symbol symbol_at(std::size_t offset) noexcept {
  const std::size_t plane = (offset - kSyncBytes) % 2;
  if (offset >= kQParityAt) {
    const std::size_t i = offset - kQParityAt;
    return {kColumns, 0, i % kDiagonals, 43 + i / kDiagonals};
  }
  const std::size_t word = (offset - kSyncBytes) / 2, row = word / 43, col = word % 43;
  return {2 * col + plane, row, 2 * ((row + 52 - col) % 26) + plane, col};
}

/// The two sums that are zero for a codeword (ECMA-130 A.5, A.6): of its n symbols, and of symbol i times 02 to the
/// n-1-i.
struct Syndromes {
  std::array<std::uint8_t, kColumns> p0{}, p1{};
  std::array<std::uint8_t, kDiagonals> q0{}, q1{};

  bool column_fails(std::size_t c) const noexcept { return (p0[c] | p1[c]) != 0; }
  bool diagonal_fails(std::size_t d) const noexcept { return (q0[d] | q1[d]) != 0; }
};

/// Of a sector of kRawSectorBytes.
Syndromes syndromes(Bytes sector) noexcept;

/// Writes the parity anew, P first, which Q covers.
void encode_parity(RawSpan sector) noexcept;
/// Only that of Q.
void encode_q_parity(RawSpan sector) noexcept;

/// What must be added to two symbols of a codeword to make both of its sums zero, given the weights of the symbols in
/// the second sum, which differ.
struct Pair {
  std::uint8_t first = 0, second = 0;
};
Pair solve_two(std::uint8_t s0, std::uint8_t s1, std::uint8_t first_weight, std::uint8_t second_weight) noexcept;

}  // namespace lacuna::cd
