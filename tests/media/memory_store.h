// SPDX-License-Identifier: GPL-3.0-or-later
// A file in memory as a ByteStore, and a folder of them for a sheet.
#pragma once

#include <algorithm>
#include <cstdint>
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "base/bytes.h"
#include "media/byte_store.h"
#include "media/sheet_folder.h"

namespace lacuna::test {

class MemoryStore final : public ByteStore {
 public:
  explicit MemoryStore(std::vector<std::uint8_t> bytes) : bytes_(std::move(bytes)) {}
  explicit MemoryStore(std::string_view text) : bytes_(text.begin(), text.end()) {}

  std::uint64_t size_bytes() const noexcept override { return bytes_.size(); }
  ReadAnswer read_some(std::uint64_t at_byte, std::span<std::uint8_t> out) const override {
    if (at_byte >= bytes_.size()) return {};
    const std::size_t n = static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), bytes_.size() - at_byte));
    std::copy_n(bytes_.begin() + static_cast<std::ptrdiff_t>(at_byte), n, out.begin());
    return {n, 0};
  }

 private:
  std::vector<std::uint8_t> bytes_;
};

/// Files by the last component of their names.
class MemoryFolder {
 public:
  MemoryFolder& add(std::string name, std::vector<std::uint8_t> bytes) {
    files_[std::move(name)] = std::move(bytes);
    return *this;
  }
  SheetOpener opener() const {
    return [this](std::string_view name) -> SheetFile {
      const auto at = files_.find(std::string(last_component(name)));
      if (at == files_.end()) return {nullptr, {}, "is missing"};
      return {std::make_unique<MemoryStore>(at->second), at->first, {}};
    };
  }

 private:
  std::map<std::string, std::vector<std::uint8_t>> files_;
};

}  // namespace lacuna::test
