// SPDX-License-Identifier: GPL-3.0-or-later
// What a program of someone else does with the library: opens an image and counts the files of each state.
#include <cstdio>
#include <string>

#include "lacuna/disc.h"
#include "lacuna/image.h"
#include "lacuna/verdict.h"

int main(int argc, char** argv) {
  if (argc != 2) return 2;
  auto image = lacuna::Image::open({argv[1]});
  if (!image.ok()) return std::fprintf(stderr, "%s\n", image.error().message.c_str()), 3;
  auto disc = lacuna::open_disc(**image);
  if (!disc.ok()) return std::fprintf(stderr, "%s\n", disc.error().message.c_str()), 3;
  auto verdicts = lacuna::judge(**disc);
  if (!verdicts.ok()) return 1;
  for (int i = 0; i < lacuna::kFileStateCount; ++i) {
    const std::string word(lacuna::to_string(static_cast<lacuna::FileState>(i)));
    std::printf("%s %llu\n", word.c_str(),
                static_cast<unsigned long long>(verdicts->counts()[static_cast<std::size_t>(i)].files));
  }
}
