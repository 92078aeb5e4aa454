// SPDX-License-Identifier: GPL-3.0-or-later
// Walk: the nodes of a finished tree in the order of listings, with their paths built as it goes: one buffer, no
// allocation a file.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "lacuna/disc.h"

namespace lacuna::report {

/// Calls f(NodeId, const Node&, std::string_view path) for every node but the root. The path is valid during the call.
template <class F>
void for_each_node(const Tree& tree, F&& f) {
  struct Level {
    NodeId directory;
    std::size_t path_bytes;  // With the '/' behind it.
  };
  std::vector<Level> levels{{kRoot, 0}};
  std::string path;
  for (const NodeId id : tree.in_order()) {
    const Node& n = tree.node(id);
    while (levels.back().directory != n.parent) levels.pop_back();
    path.resize(levels.back().path_bytes);
    path += tree.name(n);
    f(id, n, std::string_view(path));
    if (n.first_child != kNoNode) {
      path += '/';
      levels.push_back({id, path.size()});
    }
  }
}

/// The numbers of the sessions whose tree a node is in: with one session in the tree it is that one; with all of them,
/// each has its own folder `session-N` at the top.
class SessionOf {
 public:
  explicit SessionOf(const Disc& disc) {
    for (const Session& s : disc.sessions()) {
      if (s.in_tree) shown_.push_back(s.number);
    }
  }
  /// 0: not known.
  std::uint32_t operator()(std::string_view path) const {
    if (shown_.size() == 1) return shown_.front();
    constexpr std::string_view kFolder = "session-";
    if (!path.starts_with(kFolder)) return 0;
    std::uint64_t number = 0;
    for (const char c : path.substr(kFolder.size(), path.find('/') - kFolder.size())) {
      if (c < '0' || c > '9' || number > 0xffffffff) return 0;
      number = number * 10 + static_cast<std::uint64_t>(c - '0');
    }
    for (const std::uint32_t s : shown_) {
      if (s == number) return s;
    }
    return 0;
  }

 private:
  std::vector<std::uint32_t> shown_;
};

}  // namespace lacuna::report
