// SPDX-License-Identifier: GPL-3.0-or-later
// A disc as a read-only file system shows it: names, attributes, bytes up to the first missing one, and what is known
// of each file as extended attributes. Knows nothing of how it is mounted.
#pragma once

#include <sys/stat.h>

#include <cstdint>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "lacuna/content.h"
#include "lacuna/disc.h"
#include "lacuna/verdict.h"

namespace lacuna::tool {

/// One open file. Safe for concurrent use; its reads take turns.
class MountedFile {
 public:
  MountedFile(const Disc& disc, NodeId file, FileState state);

  /// What a read gave: bytes, or an errno. 0 bytes without an error is the end of the file.
  struct Got {
    std::size_t bytes = 0;
    int error = 0;
  };
  /// Bytes from `offset` up to the first one that is missing. EIO when that is the first that was asked for, or when
  /// `all_or_none` and any of them is missing.
  Got read(std::uint64_t offset, std::span<std::uint8_t> out, bool all_or_none);

 private:
  std::mutex turn_;
  FileReader reader_;
  bool nothing_is_there_;
  std::vector<Gap> gaps_;
};

/// Constant once made; safe for concurrent use. The disc and the verdicts must outlive it.
class MountedDisc {
 public:
  MountedDisc(const Disc& disc, const Verdicts& verdicts);

  bool has(NodeId id) const noexcept { return id < disc_.tree().size(); }
  const Node& node(NodeId id) const { return disc_.tree().node(id); }
  const Disc& disc() const noexcept { return disc_; }
  FileState state(NodeId id) const { return verdicts_.of(id).state; }
  bool has_gaps(NodeId id) const { return state(id) > FileState::kDoubtful; }

  /// By name, byte by byte.
  std::span<const NodeId> children(NodeId folder) const;
  std::optional<NodeId> child(NodeId folder, std::string_view name) const;
  /// The tree's name; one that is longer than a file system takes is cut, and its node's number makes it unique.
  std::string_view name(NodeId id) const;
  NodeId parent(NodeId id) const { return id == kRoot ? kRoot : node(id).parent; }

  /// Owned by whoever runs the program; nobody may write. Dates that the disc does not tell are 0.
  struct stat attributes(NodeId id) const;
  std::string symlink_target(NodeId id) const;

  /// Names of the extended attributes (`user.lacuna.state` …) that a node has.
  std::vector<std::string_view> attribute_names(NodeId id) const;
  /// Nothing when the node has none of that name.
  std::optional<std::string> attribute(NodeId id, std::string_view name) const;

 private:
  const Disc& disc_;
  const Verdicts& verdicts_;
  std::vector<NodeId> children_;            // of all folders, one after the other
  std::vector<std::uint32_t> first_child_;  // by NodeId, in children_; one more than there are nodes
  std::unordered_map<NodeId, std::string> short_names_;
  uid_t user_;
  gid_t group_;
};

}  // namespace lacuna::tool
