// SPDX-License-Identifier: GPL-3.0-or-later
// Bounds-checked reading of numbers from bytes. A Bytes is always as long as it says; nothing here casts.
#pragma once

#include <cassert>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <string_view>

namespace lacuna {

using Bytes = std::span<const std::uint8_t>;

// The caller has checked that `at` and the number's width lie within `b`.
inline std::uint16_t le16(Bytes b, std::size_t at) noexcept {
  assert(at + 2 <= b.size());
  return static_cast<std::uint16_t>(b[at] | b[at + 1] << 8);
}
inline std::uint16_t be16(Bytes b, std::size_t at) noexcept {
  assert(at + 2 <= b.size());
  return static_cast<std::uint16_t>(b[at] << 8 | b[at + 1]);
}
inline std::uint32_t le32(Bytes b, std::size_t at) noexcept {
  assert(at + 4 <= b.size());
  return std::uint32_t{b[at]} | std::uint32_t{b[at + 1]} << 8 | std::uint32_t{b[at + 2]} << 16 |
         std::uint32_t{b[at + 3]} << 24;
}
inline std::uint32_t be32(Bytes b, std::size_t at) noexcept {
  assert(at + 4 <= b.size());
  return std::uint32_t{b[at]} << 24 | std::uint32_t{b[at + 1]} << 16 | std::uint32_t{b[at + 2]} << 8 |
         std::uint32_t{b[at + 3]};
}
inline std::uint64_t le64(Bytes b, std::size_t at) noexcept {
  return std::uint64_t{le32(b, at)} | std::uint64_t{le32(b, at + 4)} << 32;
}

/// A number recorded twice, in both byte orders (ECMA-119 7.2.3, 7.3.3).
template <class T>
struct BothEndian {
  T little = 0;
  T big = 0;

  bool agree() const noexcept { return little == big; }
  /// The value when both agree or only one side was filled in (the other is 0); the little half otherwise.
  T value() const noexcept { return little != 0 ? little : big; }
};

inline BothEndian<std::uint16_t> both16(Bytes b, std::size_t at) noexcept { return {le16(b, at), be16(b, at + 2)}; }
inline BothEndian<std::uint32_t> both32(Bytes b, std::size_t at) noexcept { return {le32(b, at), be32(b, at + 4)}; }

/// True of no bytes, too.
inline bool all_zero(Bytes b) noexcept {
  return b.empty() || (b.front() == 0 && std::memcmp(b.data(), b.data() + 1, b.size() - 1) == 0);
}

/// The bytes as text of the same bytes, valid as long as they are.
inline std::string_view as_text(Bytes b) noexcept {
  // uint8_t may alias char; the only cast of pointers in the library.
  return {static_cast<const char*>(static_cast<const void*>(b.data())), b.size()};
}
inline Bytes as_bytes(std::string_view s) noexcept {
  return {static_cast<const std::uint8_t*>(static_cast<const void*>(s.data())), s.size()};
}

}  // namespace lacuna
