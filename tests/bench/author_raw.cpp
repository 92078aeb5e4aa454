// SPDX-License-Identifier: GPL-3.0-or-later
// Writes the raw images of `side-by-side raw`: author_raw PLAIN RAW [EVERY]. Each sector of a plain image as a sector of
// mode 1 with its codes; every EVERY-th gets a burst of 20 wrong bytes. The codes are the library's own: their being right
// is for the tests.
#include <algorithm>
#include <array>
#include <cstdlib>
#include <fstream>
#include <iostream>

#include "media/cd/edc.h"
#include "media/cd/parity.h"
#include "media/cd/sector.h"

int main(int argc, char** argv) {
  using namespace lacuna;
  if (argc < 3 || argc > 4) {
    std::cerr << "usage: author_raw PLAIN RAW [EVERY]\n";
    return 2;
  }
  const std::uint64_t every = argc == 4 ? std::strtoull(argv[3], nullptr, 10) : 0;
  std::ifstream in(argv[1], std::ios::binary);
  std::ofstream out(argv[2], std::ios::binary);
  std::array<char, kSectorBytes> plain{};
  for (std::int32_t lba = 0; in.read(plain.data(), kSectorBytes); ++lba) {
    std::array<std::uint8_t, kRawSectorBytes> sector{};
    std::fill_n(sector.begin() + 1, cd::kSyncBytes - 2, std::uint8_t{0xff});
    const auto address = cd::header_address(lba);
    if (!address) return 1;
    std::ranges::copy(*address, sector.begin() + cd::kSyncBytes);
    sector[15] = 1;
    std::ranges::transform(plain, sector.begin() + 16, [](char c) { return static_cast<std::uint8_t>(c); });
    const std::uint32_t edc = cd::edc(Bytes(sector).first(16 + kSectorBytes));
    for (std::size_t i = 0; i < 4; ++i) sector[16 + kSectorBytes + i] = static_cast<std::uint8_t>(edc >> (8 * i));
    cd::encode_parity(sector);
    if (every != 0 && static_cast<std::uint64_t>(lba) % every == every - 1) {
      for (std::size_t i = 0; i < 20; ++i) sector[500 + i] ^= 0x5a;
    }
    out.write(reinterpret_cast<const char*>(sector.data()), kRawSectorBytes);
  }
  return out.good() ? 0 : 1;
}
