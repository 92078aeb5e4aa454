// SPDX-License-Identifier: GPL-3.0-or-later
// From a file identifier and its file entry (ECMA-167 4/14.4, 4/14.9) to a node of the tree.
#pragma once

#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "disc/sessions.h"
#include "udf/decode/file_identifier.h"
#include "udf/entry_reader.h"

namespace lacuna::udf {

/// What a name tells of its node besides itself.
struct NameFacts {
  std::string name;  ///< In the tree's form.
  bool directory = false;
  bool hidden = false;
  bool deleted = false;
  bool stream = false;
  bool system = false;
  std::vector<std::string> doubts;  ///< About the name's own descriptor.
};

/// For one thread.
class NodeMaker {
 public:
  NodeMaker(SessionTree& out, EntryReader& entries, const Partitions& partitions, Evidence evidence, bool write_once)
      : out_(out), entries_(entries), partitions_(partitions), evidence_(evidence), write_once_(write_once) {}

  /// Of the nodes that are added from now on.
  void set_evidence(Evidence evidence) { evidence_ = evidence; }
  /// Adds the node of a name whose entry was read.
  NodeId add(NodeId parent, const NameFacts& name, const Entry& entry);
  /// Adds the node of a name whose entry is lost: unlocated, or an unread directory.
  NodeId add_lost(NodeId parent, const NameFacts& name, const NoEntry& why);
  /// Fills what an entry says of a directory into a node that is there: the root.
  void describe(NodeId id, const Entry& entry);

 private:
  NodeId add_node(NodeId parent, const NameFacts& name, Node n);
  void take_attributes(const Entry& entry, NodeDetails& details);
  void take_attribute_space(Bytes space, NodeDetails& details);
  void take_content(NodeId id, const Entry& entry);
  void take_symlink(NodeId id, const Content& content);

  SessionTree& out_;
  EntryReader& entries_;
  const Partitions& partitions_;
  Evidence evidence_;
  bool write_once_;
};

}  // namespace lacuna::udf
