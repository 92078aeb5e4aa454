// SPDX-License-Identifier: GPL-3.0-or-later
// IcbIndex: which ICBs a tree has reached, and which directories they are of.
#pragma once

#include <optional>
#include <unordered_map>
#include <unordered_set>

#include "lacuna/tree.h"
#include "udf/leftovers.h"

namespace lacuna::udf {

class IcbIndex {
 public:
  void reach(LbAddr icb) { reached_.insert(key_of(icb)); }
  void reach_directory(LbAddr icb, NodeId id) {
    reach(icb);
    if (directories_.emplace(key_of(icb), id).second) icbs_.emplace(id, icb);
  }
  /// A name marked as deleted leads to it.
  void reach_deleted(LbAddr icb) { deleted_.insert(key_of(icb)); }
  /// Its entry, or part of the way from it to its content, is lost.
  void lose_content(NodeId directory) { without_content_.insert(directory); }

  bool has_reached(LbAddr icb) const { return reached_.contains(key_of(icb)); }
  bool is_deleted(LbAddr icb) const { return deleted_.contains(key_of(icb)) && !has_reached(icb); }
  bool lacks_content(NodeId directory) const { return without_content_.contains(directory); }
  std::optional<NodeId> directory_of(LbAddr icb) const {
    const auto at = directories_.find(key_of(icb));
    return at == directories_.end() ? std::nullopt : std::optional(at->second);
  }
  std::optional<LbAddr> icb_of(NodeId directory) const {
    const auto at = icbs_.find(directory);
    return at == icbs_.end() ? std::nullopt : std::optional(at->second);
  }

 private:
  std::unordered_set<IcbKey> reached_, deleted_;
  std::unordered_map<IcbKey, NodeId> directories_;
  std::unordered_map<NodeId, LbAddr> icbs_;
  std::unordered_set<NodeId> without_content_;
};

}  // namespace lacuna::udf
