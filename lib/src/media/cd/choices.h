// SPDX-License-Identifier: GPL-3.0-or-later
// Bytes of a sector each of which is known to be one of a few values, decided by its parity (ECMA-130 annex A). The
// sums of a codeword are linear: whether a byte is the one or the other of two values is a single unknown, where a byte
// of which nothing is known is eight of them. A codeword of P or Q has 16 equations, all together have 2208.
#pragma once

#include <array>
#include <cstdint>
#include <span>

#include "media/cd/parity.h"

namespace lacuna::cd {

/// What may be added to a byte: nothing, any of these, or sums of them. Independent of each other.
class Steps {
 public:
  /// Does nothing when `step` is a sum of others.
  void add(std::uint8_t step) noexcept;
  /// Any value.
  void add_all() noexcept;

  std::span<const std::uint8_t> all() const noexcept { return std::span(steps_).first(count_); }

 private:
  std::array<std::uint8_t, 8> steps_{};  // in echelon form: none has the highest bit of another
  std::uint8_t count_ = 0;
};

struct OpenBytes {
  ErasureSet open;  ///< None before `header`, that is the first byte which the parity may change.
  std::array<Steps, kRawSectorBytes> steps{};
};

/// Decides bytes in place where the parity leaves one answer only, codeword by codeword, then all that are left at once
/// if they are not too many, and closes them. Nothing here is proof: where a byte has none of the values that it may
/// have, or a byte that is not open is wrong, a codeword of n unknowns agrees by chance once in 2^(16-n).
void choose(RawSpan sector, OpenBytes& bytes);

/// Bytes [first, end) that are as in the sector, or all as in `other`.
struct Alternative {
  std::size_t first = 0, end = 0;
  const std::uint8_t* other = nullptr;  ///< A whole sector.
};

/// Most alternatives that choose_runs() takes.
inline constexpr std::size_t kMostAlternatives = 128;

/// Takes those alternatives, all or none of the bytes of each, that make all sums zero. False, and nothing is changed:
/// none do, several do, or there are too many. Alternatives over the same bytes count as differences that add up.
bool choose_runs(RawSpan sector, std::span<const Alternative> alternatives);

}  // namespace lacuna::cd
