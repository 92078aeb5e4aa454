// SPDX-License-Identifier: GPL-3.0-or-later
// Trees for tests, built by hand.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "lacuna/tree.h"

namespace lacuna::test {

/// A tree in one view, built path by path.
class ViewTree {
 public:
  explicit ViewTree(View view) : view_(view) {}

  NodeId directory(NodeId parent, std::string_view name) { return add(parent, name, NodeKind::kDirectory, 0, 0); }
  NodeId file(NodeId parent, std::string_view name, std::uint64_t lba, std::uint64_t bytes) {
    return add(parent, name, NodeKind::kFile, lba, bytes);
  }
  View view() const { return view_; }

  Tree tree;

 private:
  NodeId add(NodeId parent, std::string_view name, NodeKind kind, std::uint64_t lba, std::uint64_t bytes) {
    Node n;
    n.kind = kind;
    n.view = view_;
    n.size = bytes;
    n.names[static_cast<std::size_t>(view_)] = tree.add_text(name);
    const NodeId id = tree.add_child(parent, n);
    const Extent e{lba * kSectorBytes, bytes, 0, 0};
    if (bytes != 0) tree.add_extents(id, {&e, 1});
    return id;
  }
  View view_;
};

inline std::vector<std::string> paths(const Tree& tree) {
  std::vector<std::string> all;
  for (const NodeId id : tree.in_order()) all.push_back(tree.path(id));
  return all;
}

inline std::vector<std::string> finished_paths(Tree& tree) {
  tree.finish();
  return paths(tree);
}

}  // namespace lacuna::test
