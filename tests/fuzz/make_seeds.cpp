// SPDX-License-Identifier: GPL-3.0-or-later
// make_seeds TARGET DIR: writes the seeds of one fuzz target, one a file.
#include <filesystem>
#include <fstream>

#include "fuzz/seeds.h"

int main(int argc, char** argv) {
  if (argc != 3) return 2;
  int number = 0;
  for (const auto& seed : lacuna::test::seeds_for(argv[1])) {
    std::ofstream out(std::filesystem::path(argv[2]) / ("seed-" + std::to_string(++number)), std::ios::binary);
    for (const std::uint8_t byte : seed) out.put(static_cast<char>(byte));
    if (!out.flush()) return 1;
  }
}
