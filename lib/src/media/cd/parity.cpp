// SPDX-License-Identifier: GPL-3.0-or-later
// Sums are taken eight codewords at a time, by Horner's rule over their symbols, in ordinary registers.
#include "media/cd/parity.h"

#include <cstring>

#include "media/cd/galois.h"

namespace lacuna::cd {
namespace {

constexpr std::uint64_t kEach = 0x0101010101010101;

/// Each of eight bytes times 02.
constexpr std::uint64_t eight_times_2(std::uint64_t v) noexcept {
  return (v & 0x7f * kEach) << 1 ^ (v >> 7 & kEach) * 0x1d;
}

/// Sums of 8 N codewords whose symbols stand below one another, `stride` bytes apart.
template <std::size_t N>
struct Sums {
  std::array<std::uint64_t, N> s0{}, s1{};

  void add(const std::uint8_t* symbols, std::size_t count, std::size_t stride) noexcept {
    for (std::size_t row = 0; row < count; ++row) {
      for (std::size_t i = 0; i < N; ++i) {
        std::uint64_t v;
        std::memcpy(&v, symbols + row * stride + 8 * i, sizeof v);
        s0[i] ^= v;
        s1[i] = eight_times_2(s1[i]) ^ v;
      }
    }
  }
};

constexpr std::size_t kDiagonalStride = 56;

/// The diagonals' symbols below one another, and room to read eight bytes of each row's last.
using Straight = std::array<std::uint8_t, kDiagonalStride * kDiagonalSymbols>;

void straighten(Bytes sector, Straight& straight) noexcept {
  constexpr std::size_t kWordsRow = kColumns, kRows = kColumnSymbols;  // bytes of a row; rows
  for (std::size_t symbol = 0; symbol < 43; ++symbol) {
    // Symbol m of codeword n is in row (n + m) mod 26.
    const std::uint8_t* top = sector.data() + kSyncBytes + 2 * symbol;
    std::uint8_t* out = straight.data() + kDiagonalStride * symbol;
    std::size_t row = symbol % kRows;
    for (std::size_t n = 0; n < kRows; ++n) {
      std::memcpy(out + 2 * n, top + kWordsRow * row, 2);
      row = row + 1 == kRows ? 0 : row + 1;
    }
  }
  std::memcpy(straight.data() + kDiagonalStride * 43, sector.data() + kQParityAt, kDiagonals);
  std::memcpy(straight.data() + kDiagonalStride * 44, sector.data() + kQParityAt + kDiagonals, kDiagonals);
}

}  // namespace

Syndromes syndromes(Bytes sector) noexcept {
  Syndromes s;
  // 88 bytes of each row: two more than are wanted, and the last row is not the end of the sector.
  Sums<11> columns;
  columns.add(sector.data() + kSyncBytes, kColumnSymbols, kColumns);
  std::memcpy(s.p0.data(), columns.s0.data(), kColumns);
  std::memcpy(s.p1.data(), columns.s1.data(), kColumns);

  Straight straight{};
  straighten(sector, straight);
  Sums<7> diagonals;
  diagonals.add(straight.data(), kDiagonalSymbols, kDiagonalStride);
  std::memcpy(s.q0.data(), diagonals.s0.data(), kDiagonals);
  std::memcpy(s.q1.data(), diagonals.s1.data(), kDiagonals);
  return s;
}

Pair solve_two(std::uint8_t s0, std::uint8_t s1, std::uint8_t first_weight, std::uint8_t second_weight) noexcept {
  // a + b = s0 and v a + w b = s1: a = (s1 + w s0) / (v + w).
  const std::uint8_t first = divide(static_cast<std::uint8_t>(s1 ^ multiply(second_weight, s0)),
                                    static_cast<std::uint8_t>(first_weight ^ second_weight));
  return {first, static_cast<std::uint8_t>(first ^ s0)};
}

void encode_q_parity(RawSpan sector) noexcept {
  for (std::size_t i = kQParityAt; i < kRawSectorBytes; ++i) sector[i] = 0;
  const Syndromes s = syndromes(sector);
  for (std::size_t d = 0; d < kDiagonals; ++d) {
    const Pair parity = solve_two(s.q0[d], s.q1[d], 2, 1);
    sector[diagonal_at(d, 43)] = parity.first;
    sector[diagonal_at(d, 44)] = parity.second;
  }
}

void encode_parity(RawSpan sector) noexcept {
  for (std::size_t i = column_at(0, 24); i < kQParityAt; ++i) sector[i] = 0;
  const Syndromes s = syndromes(sector);
  for (std::size_t c = 0; c < kColumns; ++c) {
    const Pair parity = solve_two(s.p0[c], s.p1[c], 2, 1);
    sector[column_at(c, 24)] = parity.first;
    sector[column_at(c, 25)] = parity.second;
  }
  encode_q_parity(sector);
}

}  // namespace lacuna::cd
