// SPDX-License-Identifier: GPL-3.0-or-later
// The field of ECMA-130 annex A: GF(2^8) by x^8+x^4+x^3+x^2+1, with the primitive element 02.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace lacuna::cd {

struct GaloisTables {
  std::array<std::uint8_t, 510> power{};  ///< 02 to the i; twice around, for sums of two logarithms.
  std::array<std::uint8_t, 256> log{};    ///< That of 0 is not one.
};

inline constexpr GaloisTables kGalois = [] {
  GaloisTables t;
  unsigned v = 1;
  for (std::size_t i = 0; i < 255; ++i) {
    t.power[i] = t.power[i + 255] = static_cast<std::uint8_t>(v);
    t.log[v] = static_cast<std::uint8_t>(i);
    v = v << 1 ^ ((v & 0x80) != 0 ? 0x11dU : 0U);
  }
  return t;
}();

constexpr std::uint8_t multiply(std::uint8_t a, std::uint8_t b) noexcept {
  if (a == 0 || b == 0) return 0;
  return kGalois.power[std::size_t{kGalois.log[a]} + kGalois.log[b]];
}

/// `b` is not 0.
constexpr std::uint8_t divide(std::uint8_t a, std::uint8_t b) noexcept {
  if (a == 0) return 0;
  return kGalois.power[std::size_t{kGalois.log[a]} + 255 - kGalois.log[b]];
}

}  // namespace lacuna::cd
