// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/cd/scrambler.h"

#include <array>

namespace lacuna::cd {
namespace {

constexpr std::size_t kScrambledBytes = kRawSectorBytes - kSyncBytes;

constexpr std::array<std::uint8_t, kScrambledBytes> kScramblerBytes = [] {
  std::array<std::uint8_t, kScrambledBytes> bytes{};
  unsigned state = 1;
  for (std::uint8_t& byte : bytes) {
    for (unsigned bit = 0; bit < 8; ++bit) {
      byte = static_cast<std::uint8_t>(byte | (state & 1) << bit);
      state = state >> 1 | ((state ^ state >> 1) & 1) << 14;
    }
  }
  return bytes;
}();

}  // namespace

void scramble(RawSpan sector) noexcept {
  for (std::size_t i = 0; i < kScrambledBytes; ++i) sector[kSyncBytes + i] ^= kScramblerBytes[i];
}

}  // namespace lacuna::cd
