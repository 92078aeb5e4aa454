// SPDX-License-Identifier: GPL-3.0-or-later
// Writes the UDF 2.01 volume of `side-by-side udf`: author_udf IMAGE COUNT PER_DIRECTORY BYTES. Authoring tools that
// could do it take hours or the rights to mount.
#include <cstdlib>
#include <fstream>
#include <iostream>

#include "support/udf_builder.h"

int main(int argc, char** argv) {
  using namespace lacuna::test;
  if (argc != 5) {
    std::cerr << "usage: author_udf IMAGE COUNT PER_DIRECTORY BYTES\n";
    return 2;
  }
  const auto number = [argv](int i) { return static_cast<std::uint32_t>(std::strtoul(argv[i], nullptr, 10)); };
  const std::uint32_t count = number(2), per_directory = number(3), bytes = number(4);
  UdfNode root = udf_directory("");
  for (std::uint32_t file = 0; file < count; ++file) {
    if (file % per_directory == 0)
      root.children.push_back(udf_directory("folder " + std::to_string(file / per_directory)));
    root.children.back().children.push_back(
        udf_file("a longer name of picture " + std::to_string(file) + ".jpeg", udf_noise(file, bytes)));
  }
  const UdfImage image = build_udf(std::move(root));
  std::ofstream out(argv[1], std::ios::binary);
  out.write(reinterpret_cast<const char*>(image.bytes.data()), static_cast<std::streamsize>(image.bytes.size()));
  return out.good() ? 0 : 1;
}
