// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/tree.h"

#include <algorithm>
#include <numeric>
#include <unordered_set>

namespace lacuna {

std::string_view to_string(NodeKind kind) noexcept {
  constexpr std::array<std::string_view, 7> kWords{"directory",        "file", "symlink", "block-device",
                                                   "character-device", "fifo", "socket"};
  return kWords[static_cast<std::size_t>(kind)];
}

Tree::Tree() {
  details_.push_back({});
  Node root;
  root.kind = NodeKind::kDirectory;
  nodes_.push_back(root);
}

std::span<const Extent> Tree::extents(const Node& n) const {
  return std::span(extents_).subspan(n.first_extent, n.extent_count);
}

std::string Tree::path(NodeId id) const {
  std::vector<std::string_view> names;
  std::size_t bytes = 0;
  for (; id != kRoot && id != kNoNode; id = nodes_[id].parent) {
    names.push_back(name(nodes_[id]));
    bytes += names.back().size() + 1;
  }
  std::string path;
  path.reserve(bytes);
  for (auto it = names.rbegin(); it != names.rend(); ++it) {
    if (!path.empty()) path += '/';
    path += *it;
  }
  return path;
}

std::vector<std::string> Tree::doubts(NodeId id) const {
  const auto it = doubts_.find(id);
  return it == doubts_.end() ? std::vector<std::string>{} : it->second;
}

std::vector<NodeId> Tree::in_order() const {
  std::vector<NodeId> order;
  order.reserve(nodes_.size());
  NodeId at = nodes_[kRoot].first_child;
  while (at != kNoNode) {
    order.push_back(at);
    if (nodes_[at].first_child != kNoNode) {
      at = nodes_[at].first_child;
      continue;
    }
    while (at != kRoot && nodes_[at].next_sibling == kNoNode) at = nodes_[at].parent;
    if (at == kRoot) break;
    at = nodes_[at].next_sibling;
  }
  return order;
}

std::vector<NodeId> Tree::parents_first() const {
  const auto count = static_cast<NodeId>(nodes_.size());
  std::vector<NodeId> order;
  order.reserve(count);
  std::vector<bool> hangs(count);
  hangs[kRoot] = true;
  bool moved = false;
  for (NodeId id = 1; id < count && !moved; ++id) {
    const NodeId parent = nodes_[id].parent;
    moved = parent != kNoNode && parent > id;
    hangs[id] = parent != kNoNode && hangs[parent];
    if (hangs[id]) order.push_back(id);
  }
  if (!moved) return order;

  // Children by parent, then level by level.
  std::vector<NodeId> first(count, kNoNode), next(count, kNoNode);
  for (NodeId id = count; id-- > 1;) {
    const NodeId parent = nodes_[id].parent;
    if (parent == kNoNode) continue;
    next[id] = first[parent];
    first[parent] = id;
  }
  order.clear();
  for (NodeId id = first[kRoot]; id != kNoNode; id = next[id]) order.push_back(id);
  for (std::size_t i = 0; i < order.size(); ++i) {
    for (NodeId id = first[order[i]]; id != kNoNode; id = next[id]) order.push_back(id);
  }
  return order;
}

NodeId Tree::add_child(NodeId parent, const Node& n) {
  const auto id = static_cast<NodeId>(nodes_.size());
  nodes_.push_back(n);
  nodes_.back().parent = parent;
  nodes_.back().first_child = nodes_.back().next_sibling = kNoNode;
  return id;
}

void Tree::add_extents(NodeId id, std::span<const Extent> extents) {
  // Room that is not touched costs nothing, and doubling would touch it all again.
  constexpr std::size_t kRoom = 1 << 18;
  if (extents_.capacity() == 0) extents_.reserve(kRoom);
  Node& n = nodes_[id];
  const bool last = n.first_extent + n.extent_count == extents_.size();
  if (!last || n.extent_count == 0) {
    const auto first = static_cast<std::uint32_t>(extents_.size());
    for (std::uint32_t i = 0; i < n.extent_count; ++i) extents_.push_back(Extent{extents_[n.first_extent + i]});
    n.first_extent = first;
  }
  extents_.insert(extents_.end(), extents.begin(), extents.end());
  n.extent_count += static_cast<std::uint32_t>(extents.size());
}

NodeDetails& Tree::edit_details(NodeId id) {
  if (nodes_[id].details == 0) {
    nodes_[id].details = static_cast<std::uint32_t>(details_.size());
    details_.push_back({});
  }
  return details_[nodes_[id].details];
}

void Tree::add_doubt(NodeId id, std::string why) { doubts_[id].push_back(std::move(why)); }

const RawContent* Tree::raw_content(NodeId id) const {
  const auto it = raw_contents_.find(id);
  return it == raw_contents_.end() ? nullptr : &it->second;
}

void Tree::set_raw_content(NodeId id, RawContent content) {
  Node& n = nodes_[id];
  std::uint64_t sectors = 0;
  for (std::uint32_t i = 0; i < n.extent_count; ++i) {
    Extent& e = extents_[n.first_extent + i];
    const std::uint64_t own = e.bytes / kSectorBytes + (e.bytes % kSectorBytes != 0 ? 1 : 0);
    e.bytes = own * kSectorBytes;
    sectors += own;
  }
  n.size = kRiffHeaderBytes + sectors * kRawSectorBytes;
  n.flags |= node_flag::kRawSectors;
  raw_contents_[id] = std::move(content);
}

bool Tree::move(NodeId id, NodeId parent) {
  for (NodeId up = parent; up != kNoNode; up = nodes_[up].parent) {
    if (up == id) return false;
  }
  nodes_[id].parent = parent;
  return true;
}

void Tree::link() {
  for (NodeId id = 0; id < nodes_.size(); ++id) nodes_[id].first_child = nodes_[id].next_sibling = kNoNode;
  // From the back, so that each list comes out in ascending order.
  for (auto id = static_cast<NodeId>(nodes_.size()); id-- > 1;) {
    Node& n = nodes_[id];
    if (n.parent == kNoNode) continue;
    n.next_sibling = nodes_[n.parent].first_child;
    nodes_[n.parent].first_child = id;
  }
}

namespace {

/// A name that none of `taken` has, made from `name`. `next` is the number to try first, and what follows it
/// afterwards: hostile directories repeat one name without end.
std::string distinct_name(std::string_view name, const Node& n, const std::unordered_set<std::string>& taken,
                          std::uint32_t& next) {
  std::string candidate;
  if (n.has(node_flag::kDeleted)) {
    // Its version number tells nothing: the file that has the name now bears the same.
  } else if (n.has(node_flag::kAssociated)) {
    candidate = std::string(name) + ".associated";
    if (!taken.contains(candidate)) return candidate;
  } else if (n.version != 0) {
    candidate = std::string(name) + ';' + std::to_string(n.version);
    if (!taken.contains(candidate)) return candidate;
  }
  for (;;) {
    candidate = std::string(name) + '~' + std::to_string(next++);
    if (!taken.contains(candidate)) return candidate;
  }
}

}  // namespace

void Tree::name_apart(std::span<const NodeId> siblings) {
  // Siblings are sorted, so equal names are neighbours; the set is only built when there are any.
  std::unordered_set<std::string> taken;
  for (std::size_t i = 1; i < siblings.size(); ++i) {
    if (name(nodes_[siblings[i]]) != name(nodes_[siblings[i - 1]])) continue;
    if (taken.empty()) {
      for (const NodeId id : siblings) taken.emplace(name(nodes_[id]));
    }
    const std::string same(name(nodes_[siblings[i - 1]]));
    std::uint32_t next = 2;
    for (; i < siblings.size() && name(nodes_[siblings[i]]) == same; ++i) {
      Node& n = nodes_[siblings[i]];
      const std::string apart = distinct_name(same, n, taken, next);
      n.names[static_cast<std::size_t>(n.view)] = add_text(apart);
      taken.insert(apart);
    }
  }
}

std::vector<NodeId> Tree::finish() {
  link();
  const auto by_name = [this](NodeId a, NodeId b) {
    const Node& x = nodes_[a];
    const Node& y = nodes_[b];
    if (const int order = name(x).compare(name(y)); order != 0) return order < 0;
    // Of equal names the one that keeps it comes first: what is there before what is deleted, a file before another's
    // stream and before its associated file, the highest version first.
    for (const std::uint16_t flag : {node_flag::kDeleted, node_flag::kStream}) {
      if (x.has(flag) != y.has(flag)) return y.has(flag);
    }
    if (x.has(node_flag::kAssociated) != y.has(node_flag::kAssociated)) return y.has(node_flag::kAssociated);
    return x.version != y.version ? x.version > y.version : a < b;
  };
  std::vector<NodeId> siblings;
  for (NodeId parent = 0; parent < nodes_.size(); ++parent) {
    const auto gather = [&] {
      siblings.clear();
      for (NodeId c = nodes_[parent].first_child; c != kNoNode; c = nodes_[c].next_sibling) siblings.push_back(c);
      std::sort(siblings.begin(), siblings.end(), by_name);
    };
    gather();
    if (siblings.size() < 2) continue;
    name_apart(siblings);
    if (!std::is_sorted(siblings.begin(), siblings.end(), by_name)) gather();
    nodes_[parent].first_child = siblings.front();
    for (std::size_t i = 0; i + 1 < siblings.size(); ++i) nodes_[siblings[i]].next_sibling = siblings[i + 1];
    nodes_[siblings.back()].next_sibling = kNoNode;
  }

  std::vector<NodeId> order = in_order();
  std::vector<NodeId> new_ids(nodes_.size(), kNoNode);
  new_ids[kRoot] = kRoot;
  for (std::size_t i = 0; i < order.size(); ++i) new_ids[order[i]] = static_cast<NodeId>(i + 1);
  const auto renumbered = [&new_ids](NodeId id) { return id == kNoNode ? kNoNode : new_ids[id]; };

  ChunkedArray<Node> nodes;
  const auto take = [&](Node n) {
    n.parent = renumbered(n.parent);
    n.first_child = renumbered(n.first_child);
    n.next_sibling = renumbered(n.next_sibling);
    nodes.push_back(n);
  };
  take(nodes_[kRoot]);
  for (const NodeId id : order) take(nodes_[id]);
  nodes_ = std::move(nodes);

  std::unordered_map<NodeId, std::vector<std::string>> doubts;
  for (auto& [id, texts] : doubts_) {
    if (renumbered(id) != kNoNode) doubts.emplace(new_ids[id], std::move(texts));
  }
  doubts_ = std::move(doubts);

  std::unordered_map<NodeId, RawContent> raw_contents;
  for (auto& [id, content] : raw_contents_) {
    if (renumbered(id) != kNoNode) raw_contents.emplace(new_ids[id], std::move(content));
  }
  raw_contents_ = std::move(raw_contents);
  return new_ids;
}

}  // namespace lacuna
