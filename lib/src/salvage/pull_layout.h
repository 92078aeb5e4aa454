// SPDX-License-Identifier: GPL-3.0-or-later
// Pull layout: where in the folder each file of the disc goes. As on the disc; below a folder for each disc; or
// arranged by year and kind, where names that clash are told apart by a suffix that depends on the disc and the path.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <unordered_set>

#include "lacuna/tree.h"
#include "salvage/manifest.h"
#include "salvage/target_names.h"

namespace lacuna {

/// The payload directory of a bag (RFC 8493, 2.1.2).
inline constexpr std::string_view kPayloadFolder = "data";

/// The year of a date as the disc recorded it, in its zone; nothing for a date that can't be: none, before 1970, later
/// than a day after `now` (seconds since 1970), and the first day of 1970 and of 1980, where clocks that were never set
/// begin (common practice, no source).
std::string year_of(const Timestamp& modified, std::int64_t now);

/// What is not a matter of the disc: what earlier pulls have put where.
class LayoutRecord {
 public:
  virtual ~LayoutRecord() = default;
  /// Of a folder with files of several discs: this disc's name there.
  virtual std::string_view disc_name() const = 0;
  /// Calls f for each path in the folder that is another disc's, and not one that it only shares with this disc.
  virtual void for_each_foreign(const std::function<void(std::string_view path)>& f) const = 0;
  /// Calls f for each file that an earlier pull of this disc has put into the folder.
  virtual void for_each_own(const std::function<void(std::string_view path, std::string_view target)>& f) const = 0;
};

/// Target paths of all files, relative to the folder. They depend on the whole tree and on what the record says, not on
/// what is selected. Safe for concurrent reading; tree and names must outlive it, the record need not.
class PullLayout {
 public:
  PullLayout(const Tree& tree, const TargetNames& names, const FolderLayout& layout, bool portable,
             const LayoutRecord& record, std::int64_t now);

  std::string path(NodeId id) const;
  /// Where a damaged file goes, given its ordinary path.
  std::string damaged(std::string_view ordinary) const;
  /// Directories are made, empty ones too.
  bool has_directories() const noexcept { return layout_.arrangement == Arrangement::kTree; }
  /// Why symbolic links are only recorded; empty when they are made.
  std::string_view no_links() const noexcept;

 private:
  std::string folder_of(const Node& node) const;
  std::string wanted_name(const Node& node) const;
  void arrange(const LayoutRecord& record);
  void keep_earlier(const LayoutRecord& record);
  bool claim(NodeId id, const std::string& path);
  void name_arranged(NodeId id);

  const Tree* tree_;
  const TargetNames* names_;
  FolderLayout layout_;
  bool portable_;
  std::int64_t now_;
  std::string root_;    // "data/" of a bag
  std::string prefix_;  // of all files that are not damaged
  std::string disc_;
  bool has_foreign_ = false;
  std::unordered_map<NodeId, std::string> changed_;  // arranged: names that are not the wanted ones
  std::unordered_set<NodeId> kept_;                  // arranged: named as an earlier pull did
  std::unordered_set<std::uint64_t> taken_;          // hashes of the folded paths
};

}  // namespace lacuna
