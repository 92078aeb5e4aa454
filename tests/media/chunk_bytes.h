// SPDX-License-Identifier: GPL-3.0-or-later
// Numbers and chunks (four letters, a length, data) as bytes, for files that tests put together.
#pragma once

#include <cstdint>
#include <string>

namespace lacuna::test {

inline std::string le_bytes(std::uint64_t value, int bytes) {
  std::string s;
  for (int i = 0; i < bytes; ++i) s += static_cast<char>(value >> (8 * i) & 0xFF);
  return s;
}
inline std::string be_bytes(std::uint64_t value, int bytes) {
  const std::string s = le_bytes(value, bytes);
  return {s.rbegin(), s.rend()};
}

/// RIFF: padded to an even length.
inline std::string chunk_le(const std::string& id, const std::string& data) {
  return id + le_bytes(data.size(), 4) + data + std::string(data.size() % 2, '\0');
}
/// Not padded.
inline std::string chunk_be(const std::string& id, const std::string& data) {
  return id + be_bytes(data.size(), 4) + data;
}

}  // namespace lacuna::test
