// SPDX-License-Identifier: GPL-3.0-or-later
#include "disc/orphans.h"

#include <fmt/format.h>

namespace lacuna {

NodeId orphans_folder(Tree& tree, View view) {
  for (NodeId id = 1; id < tree.size(); ++id) {
    if (tree.node(id).has(node_flag::kOrphans)) return id;
  }
  Node folder;
  folder.kind = NodeKind::kDirectory;
  folder.view = view;
  folder.evidence = Evidence::kScan;
  folder.flags = node_flag::kOrphans;
  folder.names[static_cast<std::size_t>(view)] = tree.add_text("_orphans");
  return tree.add_child(kRoot, folder);
}

void drop_empty_orphans(Tree& tree) {
  std::vector<NodeId> folders;
  std::vector<bool> has_children(tree.size());
  for (NodeId id = 1; id < tree.size(); ++id) {
    const Node& n = tree.node(id);
    if (n.has(node_flag::kOrphans)) folders.push_back(id);
    if (n.parent != kNoNode) has_children[n.parent] = true;
  }
  for (const NodeId id : folders) {
    if (!has_children[id]) tree.unlink(id);
  }
}

std::string orphan_name(NodeKind kind, std::uint64_t position) {
  const std::uint64_t byte = position % kSectorBytes;
  return fmt::format("{}-at-{}{}", to_string(kind), position / kSectorBytes, byte != 0 ? fmt::format("+{}", byte) : "");
}

}  // namespace lacuna
