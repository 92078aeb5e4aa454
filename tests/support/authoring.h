// SPDX-License-Identifier: GPL-3.0-or-later
// Images made by authoring tools from trees that a test describes.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace lacuna::test {

/// A folder of its own, removed with all that is in it when the object goes.
class ScratchFolder {
 public:
  ScratchFolder();
  ~ScratchFolder();
  ScratchFolder(const ScratchFolder&) = delete;
  ScratchFolder& operator=(const ScratchFolder&) = delete;

  const std::filesystem::path& path() const noexcept { return path_; }
  std::filesystem::path operator/(const std::string& name) const { return path_ / name; }

 private:
  std::filesystem::path path_;
};

/// Writes a file, making the folders above it.
void write_file(const std::filesystem::path& file, std::string_view content);
std::vector<std::uint8_t> read_file(const std::filesystem::path& file);

/// Runs a command of the shell in a folder. A failure is a failure of the test, with the command's output.
bool run_command(const std::filesystem::path& in, const std::string& command);

/// Authors `tree` (a folder) with genisoimage and gives the image's bytes; empty after a failure.
std::vector<std::uint8_t> genisoimage(const std::filesystem::path& tree, const std::string& options);

}  // namespace lacuna::test
