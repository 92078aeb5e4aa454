// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once

#include <cstddef>
#include <random>
#include <string>

namespace lacuna::test {

/// Bytes without any pattern, the same for the same seed.
inline std::string noise(std::size_t bytes, unsigned seed) {
  std::mt19937 random(seed);
  std::string out(bytes, '\0');
  for (char& c : out) c = static_cast<char>(random() & 0xFF);
  return out;
}

}  // namespace lacuna::test
