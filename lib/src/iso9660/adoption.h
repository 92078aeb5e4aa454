// SPDX-License-Identifier: GPL-3.0-or-later
// Adoption: directories that the tree lacks, because a record that would lead to them is lost, get their place in it by
// what else tells of them: path tables, and their own "..".
#pragma once

#include <cstdint>
#include <optional>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include "iso9660/frames.h"
#include "iso9660/node_maker.h"
#include "iso9660/path_tables.h"
#include "lacuna/disc.h"

namespace lacuna::iso9660 {

/// A directory that has its node and is to be read.
struct PendingDirectory {
  NodeId node = kRoot;
  std::uint64_t position = 0;  ///< Byte address.
  std::uint64_t bytes = 0;
  std::uint16_t depth = 0;
  bool headless = false;  ///< Its first sector is lost: records begin at once.
  Evidence evidence = Evidence::kTree;
  const char* doubt = nullptr;  ///< Of its files, unless another view agrees.
  bool stray = false;           ///< Nothing but addresses ties it, and what is below it, to this volume.
};

/// What of the scan may belong to one tree.
struct Scope {
  const Frames* frames = nullptr;  ///< None: nothing was looked for.
  /// Directories that nothing in the tree names, and whose parents are lost too, lie in this byte range.
  Range orphans{0, ~std::uint64_t{0}};
  /// Of an earlier volume: the directories (byte addresses) that newer ones have, and that it therefore has not; one of
  /// them may stand where a parent of its was. None: not an earlier volume.
  const std::unordered_set<std::uint64_t>* newer = nullptr;

  bool is_newer(std::uint64_t position) const { return newer != nullptr && newer->contains(position); }
};

/// Where in a tree its directories are, and which came last.
struct StartedDirectories {
  std::unordered_map<std::uint64_t, NodeId> nodes;  ///< By byte address.
  std::vector<std::uint64_t> order;

  bool add(std::uint64_t position, NodeId node) {
    if (!nodes.emplace(position, node).second) return false;
    order.push_back(position);
    return true;
  }
  NodeId at(std::uint64_t position) const {
    const auto it = nodes.find(position);
    return it == nodes.end() ? kNoNode : it->second;
  }
};

/// For one tree, beside the reader that reads it. A directory is attached only where nothing speaks against it: one
/// whose parent was read in full without naming it is older than the tree.
class Adoption {
 public:
  Adoption(const Image& image, const VolumeBasis& volume, const TreeContext& context, const Scope& scope,
           const PathTables& tables, Tree& tree, NodeMaker& maker, Findings& findings);

  /// What to read next, everything before having been read. `structures` are the tree's so far. None: it is complete.
  std::vector<PendingDirectory> next(const StartedDirectories& started, const std::vector<Structure>& structures);

  /// Puts relocated directories (RRIP 4.1.5) that no CL entry leads to under the parents that they name, if the records
  /// of these are lost.
  void rehome(const StartedDirectories& started);

 private:
  using Pending = std::vector<PendingDirectory>;

  bool is_hurt(NodeId id) const { return tree_.node(id).has(node_flag::kUnread | node_flag::kIncomplete); }
  bool any_hurt(const StartedDirectories& started) const;
  bool kind_fits(IdentifierKind kind) const;
  bool may_be_orphan(const FrameDirectory& d) const;
  std::uint16_t depth_of(NodeId id) const;
  bool is_stray(std::uint64_t position) const;
  PendingDirectory adopt(const FrameDirectory& d, NodeId parent);
  std::uint64_t length_behind(std::uint64_t position) const;
  void take_orphan_folder();
  bool claimed_by_file(std::uint64_t position);

  Pending table_level(const StartedDirectories& started);
  Pending children(const StartedDirectories& started);
  Pending lost_parents(const StartedDirectories& started);
  Pending loops(const StartedDirectories& started);
  Pending headless_runs(const std::vector<Structure>& structures);

  const Image& image_;
  const VolumeBasis& volume_;
  const TreeContext context_;
  const Scope scope_;
  const PathTables& tables_;
  Tree& tree_;
  NodeMaker& maker_;
  Findings& findings_;
  const Frame* frame_;

  std::uint64_t space_end_ = ~std::uint64_t{0};  // of the volume, byte address
  std::size_t table_at_ = 1;                     // the next path table record to look at
  std::vector<std::uint32_t> by_parent_;         // the frame's directories, by their parent's position
  std::size_t seen_ = 0;                         // started directories whose children were looked at
  int stage_ = 0;
  NodeId orphans_ = kNoNode;
  std::unordered_set<std::uint64_t> path_positions_;
  std::optional<RangeSet> files_;  // byte ranges of files in the tree
};

}  // namespace lacuna::iso9660
