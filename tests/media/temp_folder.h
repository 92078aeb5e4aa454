// SPDX-License-Identifier: GPL-3.0-or-later
// A folder of its own for each test, removed with all that is in it.
#pragma once

#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <span>
#include <string>
#include <system_error>

namespace lacuna::test {

class TempFolder {
 public:
  TempFolder() {
    std::string name = (std::filesystem::temp_directory_path() / "lacuna-media-XXXXXX").string();
    const char* made = ::mkdtemp(name.data());
    EXPECT_NE(made, nullptr);
    path_ = name;
  }
  ~TempFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  TempFolder(const TempFolder&) = delete;
  TempFolder& operator=(const TempFolder&) = delete;

  std::filesystem::path operator/(const std::string& name) const { return path_ / name; }

  std::filesystem::path write(const std::string& name, std::string_view text) const {
    std::ofstream(path_ / name, std::ios::binary).write(text.data(), static_cast<std::streamsize>(text.size()));
    return path_ / name;
  }
  std::filesystem::path write(const std::string& name, std::span<const std::uint8_t> bytes) const {
    std::ofstream out(path_ / name, std::ios::binary);
    for (const std::uint8_t b : bytes) out.put(static_cast<char>(b));
    return path_ / name;
  }

 private:
  std::filesystem::path path_;
};

}  // namespace lacuna::test
