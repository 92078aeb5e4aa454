// SPDX-License-Identifier: GPL-3.0-or-later
// Bytes for tests of decoders.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdint>
#include <string_view>
#include <vector>

#include "base/bytes.h"

namespace lacuna::test {

using Buffer = std::vector<std::uint8_t>;

/// "5A 46 10": pairs of hexadecimal digits, spaces between them as one likes.
inline Buffer from_hex(std::string_view text) {
  const auto digit = [](char c) { return c <= '9' ? c - '0' : (c | 0x20) - 'a' + 10; };
  Buffer b;
  for (std::size_t i = 0; i < text.size();) {
    if (text[i] == ' ') {
      ++i;
      continue;
    }
    b.push_back(static_cast<std::uint8_t>(digit(text[i]) << 4 | digit(text[i + 1])));
    i += 2;
  }
  return b;
}

inline Buffer from_text(std::string_view text) { return {text.begin(), text.end()}; }

inline void put(Buffer& b, std::size_t at, const Buffer& what) {
  ASSERT_LE(at + what.size(), b.size());
  std::ranges::copy(what, b.begin() + static_cast<std::ptrdiff_t>(at));
}
inline void put(Buffer& b, std::size_t at, std::string_view text) { put(b, at, from_text(text)); }

inline Buffer both32_bytes(std::uint32_t v) {
  const auto byte = [v](int shift) { return static_cast<std::uint8_t>(v >> shift); };
  return {byte(0), byte(8), byte(16), byte(24), byte(24), byte(16), byte(8), byte(0)};
}
inline Buffer both16_bytes(std::uint16_t v) {
  const auto low = static_cast<std::uint8_t>(v), high = static_cast<std::uint8_t>(v >> 8);
  return {low, high, high, low};
}

inline Buffer operator+(Buffer a, const Buffer& b) {
  a.insert(a.end(), b.begin(), b.end());
  return a;
}

/// Calls f with every beginning of `b`, the empty one and all of it included, each in memory of just that size, so that
/// a sanitizer sees any read beyond.
template <class F>
void for_each_length(const Buffer& b, F&& f) {
  for (std::size_t n = 0; n <= b.size(); ++n) {
    SCOPED_TRACE(n);
    const Buffer cut(b.begin(), b.begin() + static_cast<std::ptrdiff_t>(n));
    f(Bytes(cut));
  }
}

}  // namespace lacuna::test
