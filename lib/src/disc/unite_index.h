// SPDX-License-Identifier: GPL-3.0-or-later
// What unite() finds nodes by: where files lie, and names as different writers put them.
#pragma once

#include <algorithm>
#include <bit>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/tree.h"

namespace lacuna {

/// Where a file's data starts, and how long it is.
struct Place {
  std::uint64_t position = 0;
  std::uint64_t bytes = 0;  // stored, what has no place included; 0: no data anywhere
  friend bool operator==(const Place&, const Place&) = default;
};

inline Place place_of(const Tree& tree, const Node& n) {
  Place place;
  if (n.kind != NodeKind::kFile) return place;
  bool placed = false;
  for (const Extent& e : tree.extents(n)) {
    if (!placed && e.has_place()) {
      place.position = e.position;
      placed = e.bytes != 0;
    }
    place.bytes += e.bytes;
  }
  return placed ? place : Place{};
}

/// A file of which something lies nobody knows where.
inline bool is_lost(const Tree& tree, const Node& n) {
  if (n.kind != NodeKind::kFile) return false;
  if (n.has(node_flag::kUnlocated)) return true;
  const auto extents = tree.extents(n);
  return std::any_of(extents.begin(), extents.end(), [](const Extent& e) { return e.position == kNowhere; });
}

inline std::uint64_t mixed(std::uint64_t x) {
  x *= 0x9e3779b97f4a7c15;
  return x ^ (x >> 29);
}

/// Nodes by a 64-bit key; several may share one. Chained through flat arrays, because a node costs an insertion.
class NodeIndex {
 public:
  explicit NodeIndex(std::size_t nodes)
      : heads_(std::bit_ceil(nodes + 1), kNoNode), next_(nodes, kNoNode), mask_(heads_.size() - 1) {}

  void add(std::uint64_t key, NodeId id) {
    NodeId& head = heads_[mixed(key) & mask_];
    next_[id] = head;
    head = id;
  }
  NodeId first(std::uint64_t key) const { return heads_[mixed(key) & mask_]; }  // candidates: check what they are
  NodeId next(NodeId id) const { return next_[id]; }

 private:
  std::vector<NodeId> heads_, next_;
  std::size_t mask_;
};

/// A name as a writer may have squeezed it into d-characters (ECMA-119 7.4.1).
inline std::string squeezed(std::string_view name) {
  std::string s;
  s.reserve(name.size());
  for (const char c : name) {
    if (c >= 'a' && c <= 'z') {
      s += static_cast<char>(c - 'a' + 'A');
    } else if ((c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '.') {
      s += c;
    } else if ((static_cast<unsigned char>(c) & 0xC0) != 0x80) {  // one '_' for a whole UTF-8 sequence
      s += '_';
    }
  }
  return s;
}

}  // namespace lacuna
