// SPDX-License-Identifier: GPL-3.0-or-later
// Lists what is not whole on a disc, and counts the rest.
//
//   c++ -std=c++20 list_files.cpp -o list_files $(pkg-config --cflags --libs lacuna)
//   ./list_files museum.iso museum.map
#include <iostream>

#include "lacuna/disc.h"
#include "lacuna/verdict.h"

int main(int argc, char** argv) {
  if (argc != 3) return 2;
  const auto fail = [](const lacuna::Error& error) { return std::cerr << error.message << '\n', 3; };
  lacuna::ImageOptions options;
  options.maps = {argv[2]};
  const auto image = lacuna::Image::open({argv[1]}, options);
  if (!image) return fail(image.error());
  const auto disc = lacuna::open_disc(**image);
  if (!disc) return fail(disc.error());
  const auto verdicts = lacuna::judge(**disc);
  if (!verdicts) return fail(verdicts.error());

  const lacuna::Tree& tree = (*disc)->tree();
  int whole = 0;
  for (const lacuna::NodeId id : tree.in_order()) {
    const lacuna::Verdict& verdict = verdicts->of(id);
    if (tree.node(id).is_directory()) continue;
    if (verdict.state == lacuna::FileState::kWhole) {
      ++whole;
    } else {
      std::cout << to_string(verdict.state) << ": " << tree.path(id) << ", " << verdict.missing_bytes << " of "
                << tree.node(id).size << " bytes missing\n";
    }
  }
  std::cout << whole << " files are whole\n";
}
