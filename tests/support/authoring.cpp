// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/authoring.h"

#include <gtest/gtest.h>
#include <stdlib.h>

#include <cstdlib>
#include <fstream>
#include <iterator>

namespace lacuna::test {

ScratchFolder::ScratchFolder() {
  std::string name = (std::filesystem::temp_directory_path() / "lacuna-test-XXXXXX").string();
  EXPECT_NE(mkdtemp(name.data()), nullptr) << "no scratch folder in " << name;
  path_ = name;
}

ScratchFolder::~ScratchFolder() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

void write_file(const std::filesystem::path& file, std::string_view content) {
  std::filesystem::create_directories(file.parent_path());
  std::ofstream out(file, std::ios::binary);
  out.write(content.data(), static_cast<std::streamsize>(content.size()));
  EXPECT_TRUE(out.flush().good()) << "can't write " << file;
}

std::vector<std::uint8_t> read_file(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  EXPECT_TRUE(in.good()) << "can't read " << file;
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

bool run_command(const std::filesystem::path& in, const std::string& command) {
  const std::filesystem::path log = in / ".command-output";
  const int status = std::system(("cd '" + in.string() + "' && { " + command + "; } >.command-output 2>&1").c_str());
  if (status != 0) {
    const std::vector<std::uint8_t> said = read_file(log);
    ADD_FAILURE() << command << "\nfailed with status " << status << ":\n" << std::string(said.begin(), said.end());
  }
  std::error_code ignored;
  std::filesystem::remove(log, ignored);
  return status == 0;
}

std::vector<std::uint8_t> genisoimage(const std::filesystem::path& tree, const std::string& options) {
  const ScratchFolder scratch;
  const std::filesystem::path image = scratch / "image.iso";
  if (!run_command(scratch.path(), "genisoimage -quiet -input-charset utf-8 " + options + " -o image.iso '" +
                                       std::filesystem::absolute(tree).string() + "'")) {
    return {};
  }
  return read_file(image);
}

}  // namespace lacuna::test
