// SPDX-License-Identifier: GPL-3.0-or-later
// A scratch folder that files are written into.
#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>

#include "support/authoring.h"

namespace lacuna::test {

class TempFolder : public ScratchFolder {
 public:
  std::filesystem::path write(const std::string& name, std::string_view text) const {
    write_file(*this / name, text);
    return *this / name;
  }
  std::filesystem::path write(const std::string& name, std::span<const std::uint8_t> bytes) const {
    return write(name, std::string_view(std::string(bytes.begin(), bytes.end())));
  }
};

}  // namespace lacuna::test
