// SPDX-License-Identifier: GPL-3.0-or-later
#include "disc/supplement.h"

#include <fmt/format.h>

#include <map>
#include <unordered_map>
#include <vector>

#include "disc/unite.h"

namespace lacuna {
namespace {

constexpr std::uint16_t kHurt = node_flag::kIncomplete | node_flag::kUnread;

/// The children of directories by name, each under every name that a view gives it.
class ChildIndex {
 public:
  explicit ChildIndex(const Tree& tree) : tree_(tree) {}

  void add(NodeId id) {
    const Node& n = tree_.node(id);
    for (std::size_t v = 0; v < kViewCount; ++v) {
      if (n.names[v].length != 0) by_name_.emplace(key(n.parent, v, tree_.text(n.names[v])), id);
    }
  }

  /// The child of `parent` that some view calls as it calls `n` of `other`; kNoNode when there is none.
  NodeId find(NodeId parent, const Tree& other, const Node& n) const {
    for (std::size_t v = 0; v < kViewCount; ++v) {
      if (n.names[v].length == 0) continue;
      const std::string_view name = other.text(n.names[v]);
      for (auto [it, end] = by_name_.equal_range(key(parent, v, name)); it != end; ++it) {
        const Node& found = tree_.node(it->second);
        if (found.parent == parent && tree_.text(found.names[v]) == name) return it->second;
      }
    }
    return kNoNode;
  }

 private:
  static std::size_t key(NodeId parent, std::size_t view, std::string_view name) {
    return std::hash<std::string_view>{}(name) ^ (std::size_t{parent} * kViewCount + view) * 0x9e3779b97f4a7c15;
  }

  const Tree& tree_;
  std::unordered_multimap<std::size_t, NodeId> by_name_;
};

}  // namespace

void supplement(SessionTree& base, const SessionTree& earlier, std::uint32_t earlier_session) {
  const auto base_count = static_cast<NodeId>(base.tree.size());
  // Only hurt directories, and those on the way to them, are of interest.
  const std::vector<NodeId> order = base.tree.parents_first();
  std::vector<bool> on_the_way(base_count);
  on_the_way[kRoot] = base.tree.node(kRoot).has(kHurt);
  for (auto id = order.rbegin(); id != order.rend(); ++id) {
    const Node& n = base.tree.node(*id);
    if (n.is_directory() && n.has(kHurt)) on_the_way[*id] = true;
    if (on_the_way[*id]) on_the_way[n.parent] = true;
  }
  if (!on_the_way[kRoot]) return;
  ChildIndex children(base.tree);
  for (const NodeId id : order) {
    if (on_the_way[base.tree.node(id).parent]) children.add(id);
  }

  std::vector<NodeId> ids(earlier.tree.size(), kNoNode);  // of directories: their place in base
  std::map<NodeId, std::uint64_t> added;                  // by directory of base that was hurt
  ids[kRoot] = kRoot;
  for (const NodeId id : earlier.tree.parents_first()) {
    const Node& n = earlier.tree.node(id);
    if (ids[n.parent] == kNoNode || n.has(node_flag::kDeleted | node_flag::kBoot)) continue;
    const NodeId parent = ids[n.parent];
    if (parent < base_count) {
      if (!on_the_way[parent]) continue;
      if (const NodeId known = children.find(parent, earlier.tree, n); known != kNoNode) {
        if (n.is_directory() && base.tree.node(known).is_directory()) ids[id] = known;
        continue;
      }
      if (!base.tree.node(parent).has(kHurt)) continue;
      ++added[parent];
    }
    ids[id] = copy_node(base.tree, parent, earlier.tree, id);
    base.tree.edit(ids[id]).evidence = Evidence::kSession;
  }
  for (const auto& [directory, count] : added) {
    const std::string path = base.tree.path(directory);
    base.findings.add({Severity::kDoubt, "from-earlier-session", path.empty() ? "root directory" : path, std::nullopt,
                       "",
                       fmt::format("{} that it held in session {} taken from there; the last session may have had "
                                   "newer ones, or none",
                                   count == 1 ? "1 name is" : fmt::format("{} names are", count), earlier_session)});
  }
}

}  // namespace lacuna
