// SPDX-License-Identifier: GPL-3.0-or-later
// Stored files: what stands in a folder that takes files of several discs, by path and by content.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "lacuna/text_arena.h"
#include "lacuna/timestamp.h"
#include "salvage/manifest.h"

namespace lacuna {

/// Thread-safe. About 200 bytes a file.
class StoredFiles {
 public:
  struct File {
    std::string_view path;
    std::optional<std::uint64_t> bytes;  ///< Nothing for a list of gaps: whatever its checksum says.
    std::array<std::uint8_t, 16> xxh3_128{};
    std::array<std::uint8_t, 32> sha256{};
    Timestamp modified;       ///< The oldest of all paths that it stands for.
    bool is_whole = false;    ///< By all records of it, which agree.
    bool is_foreign = false;  ///< A record of another disc names it.
    bool is_own = false;      ///< A record of this disc says that it is the file of a path of it.
  };

  /// Takes in what a manifest says of a file in the folder, and of the list of its gaps.
  void add(const ManifestEntry& entry, bool foreign);
  /// A file that was stored now: what was recorded of its path before does not hold any more, but for its date.
  void store(const ManifestEntry& entry);

  /// Where whole files stand that have this content by their records, in the order in which they came.
  std::vector<std::string> of_content(const Checksums& sums, std::uint64_t bytes) const;
  /// The date of a file; nothing when no record names it.
  std::optional<Timestamp> modified(std::string_view path) const;
  /// A further path that a file stands for; true when that is older.
  bool lower_date(std::string_view path, const Timestamp& modified);

  void for_each(const std::function<void(const File&)>& f) const;

 private:
  File& file(std::string_view path, bool& added);
  void index(const File& f, std::size_t at);

  mutable std::mutex mutex_;
  TextArena paths_;
  std::deque<File> files_;
  std::unordered_map<std::string_view, std::size_t> by_path_;
  std::unordered_multimap<std::uint64_t, std::size_t> by_content_;
};

/// Reads what to_iso8601() writes; unknown for any other text.
Timestamp from_iso8601(std::string_view text);

/// The earlier of two dates; one that is known before one that is not.
const Timestamp& older_of(const Timestamp& a, const Timestamp& b);

}  // namespace lacuna
