// SPDX-License-Identifier: GPL-3.0-or-later
// Runs a fuzz target without a fuzzer: over its seeds, each cut at many lengths, and over mutations from a fixed
// random sequence. The target itself ends the program when a promise is broken.
#include <algorithm>
#include <cstdio>
#include <random>

#include "fuzz/seeds.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace {

void mutate(std::vector<std::uint8_t>& bytes, std::mt19937& random) {
  constexpr std::uint8_t kTelling[] = {0, 1, 2, 33, 34, 0x7f, 0x80, 0xfe, 0xff};
  for (unsigned n = 1 + random() % 8; n > 0 && !bytes.empty(); --n) {
    // Descriptors, tables and directories stand at the front of an image.
    const std::size_t at = random() % (random() % 2 == 0 ? bytes.size() : std::min<std::size_t>(bytes.size(), 20000));
    switch (random() % 5) {
      case 0:
        bytes[at] = static_cast<std::uint8_t>(random());
        break;
      case 1:
        bytes[at] ^= static_cast<std::uint8_t>(1u << random() % 8);
        break;
      case 2:
        bytes[at] = kTelling[random() % std::size(kTelling)];
        break;
      case 3:
        std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(at), std::min<std::size_t>(4, bytes.size() - at),
                    static_cast<std::uint8_t>(random() % 2 == 0 ? 0xff : 0));
        break;
      default: {  // a piece of itself to another place
        const std::size_t from = random() % bytes.size();
        const std::size_t length = std::min({random() % 64 + std::size_t{1}, bytes.size() - at, bytes.size() - from});
        const std::vector<std::uint8_t> piece(bytes.begin() + static_cast<std::ptrdiff_t>(from),
                                              bytes.begin() + static_cast<std::ptrdiff_t>(from + length));
        std::ranges::copy(piece, bytes.begin() + static_cast<std::ptrdiff_t>(at));
      }
    }
  }
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) return 2;
  const auto seeds = lacuna::test::seeds_for(argv[1]);
  std::size_t runs = 0;
  for (const auto& seed : seeds) {
    const std::size_t step = std::max<std::size_t>(1, seed.size() / 40);
    for (std::size_t length = 0; length < seed.size(); length += step) {
      LLVMFuzzerTestOneInput(std::vector(seed.begin(), seed.begin() + static_cast<std::ptrdiff_t>(length)).data(),
                             length);
      ++runs;
    }
    LLVMFuzzerTestOneInput(seed.data(), seed.size());
    ++runs;
  }
  std::mt19937 random(20040506);
  for (std::size_t bytes = 0; runs < 2500 || bytes < std::size_t{24} << 20;) {
    std::vector<std::uint8_t> input = seeds[random() % seeds.size()];
    mutate(input, random);
    LLVMFuzzerTestOneInput(input.data(), input.size());
    bytes += input.size() + 512;
    ++runs;
  }
  std::printf("%s: %zu inputs from %zu seeds\n", argv[1], runs, seeds.size());
  return seeds.empty() ? 1 : 0;
}
