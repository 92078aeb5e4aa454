// SPDX-License-Identifier: GPL-3.0-or-later
// Walking UTF-8 code point by code point. Ill-formed bytes are units of their own, so that nothing is ever skipped.
// And letter case of ASCII, which leaves UTF-8 as it is.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace lacuna {

struct CodePoint {
  char32_t value = 0;      ///< A Unicode scalar value, or kIllFormed + byte.
  std::size_t length = 1;  ///< In bytes.

  static constexpr char32_t kIllFormed = 0x110000;
  constexpr bool well_formed() const noexcept { return value < kIllFormed; }
};

/// The code point at `at`, which must lie within the text (Unicode 15 table 3-7).
constexpr CodePoint code_point_at(std::string_view text, std::size_t at) noexcept {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[at + i]); };
  const unsigned char lead = byte(0);
  if (lead < 0x80) return {lead, 1};
  const CodePoint ill{CodePoint::kIllFormed + lead, 1};
  const std::size_t length = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
  if (lead < 0xC2 || lead > 0xF4 || text.size() - at < length) return ill;
  char32_t value = lead & (0x7Fu >> length);
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xC0) != 0x80) return ill;
    value = value << 6 | (byte(i) & 0x3Fu);
  }
  const bool overlong = (length == 3 && value < 0x800) || (length == 4 && value < 0x10000);
  if (overlong || value > 0x10FFFF || (value >= 0xD800 && value <= 0xDFFF)) return ill;
  return {value, length};
}

/// A to Z become a to z, everything else stays.
inline std::string lower_ascii(std::string_view text) {
  std::string out(text);
  for (char& c : out) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c + ('a' - 'A'));
  }
  return out;
}

}  // namespace lacuna
