// SPDX-License-Identifier: GPL-3.0-or-later
// What independent readers make of an image: libarchive and libiso9660, brought to one form.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>

#include "lacuna/states.h"

namespace lacuna::test {

struct ReferenceEntry {
  enum class Kind { kFile, kDirectory, kSymlink, kOther };
  Kind kind = Kind::kFile;
  std::uint64_t size = 0;                ///< Of files.
  std::optional<std::int64_t> modified;  ///< Seconds since 1970 UTC.
  std::string sha256;                    ///< Of files' contents, hexadecimal.
  std::string target;                    ///< Of symbolic links.

  friend bool operator==(const ReferenceEntry&, const ReferenceEntry&) = default;
};

/// By path: '/' between names, no leading one, version numbers and an empty extension's dot removed. The root is not
/// among them.
using ReferenceListing = std::map<std::string, ReferenceEntry>;

/// Lists one view (kRockRidge, kJoliet or kIso9660); nothing, with the reader's reason in `why`, when it can't.
std::optional<ReferenceListing> list_with_libarchive(const std::filesystem::path& image, View view, std::string& why);
std::optional<ReferenceListing> list_with_libiso9660(const std::filesystem::path& image, View view, std::string& why);

/// SHA-256, collected piece by piece.
class Sha256 {
 public:
  Sha256();
  ~Sha256();
  Sha256(const Sha256&) = delete;
  Sha256& operator=(const Sha256&) = delete;
  void add(const void* bytes, std::size_t n);
  std::string hex();

 private:
  void* context_;
};

}  // namespace lacuna::test
