// SPDX-License-Identifier: GPL-3.0-or-later
// HandDisc: a disc whose tree is written by hand, for tests of what rests on the tree and not on a file system.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <initializer_list>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "disc/disc_builder.h"
#include "lacuna/disc.h"

namespace lacuna::test {

/// A contiguous extent of whole sectors and a rest.
inline Extent at_lba(std::uint64_t lba, std::uint64_t bytes) { return {lba * kSectorBytes, bytes, 0, 0}; }

/// "f12". (With operator+ g++ 12 warns of an overlap that is none, -Wrestrict.)
inline std::string numbered(std::string_view prefix, std::uint64_t number) {
  return std::string(prefix).append(std::to_string(number));
}

class HandDisc {
 public:
  explicit HandDisc(const Image& image) : builder_(image) {}

  /// Ids are those of building; after finish() use id().
  NodeId node(const std::string& name, Node n, const std::vector<Extent>& extents = {}, NodeId parent = kRoot) {
    n.names[static_cast<std::size_t>(n.view)] = builder_.tree().add_text(name);
    const NodeId id = builder_.tree().add_child(parent, n);
    builder_.tree().add_extents(id, extents);
    return id;
  }
  NodeId file(const std::string& name, std::uint64_t size, const std::vector<Extent>& extents,
              std::uint16_t flags = 0) {
    Node n;
    n.size = size;
    n.flags = flags;
    return node(name, n, extents);
  }
  /// A file on one extent from `lba`.
  NodeId file(const std::string& name, std::uint64_t lba, std::uint64_t size) {
    return file(name, size, {at_lba(lba, size)});
  }
  NodeId directory(const std::string& name, std::uint16_t flags, NodeId parent = kRoot) {
    Node n;
    n.kind = NodeKind::kDirectory;
    n.flags = flags;
    return node(name, n, {}, parent);
  }
  void structure(StructureKind kind, std::uint64_t lba, std::uint64_t bytes, std::string label = {}) {
    builder_.structures().push_back({kind, View::kIso9660, lba * kSectorBytes, bytes, kNoNode, std::move(label)});
  }
  Tree& tree() { return builder_.tree(); }
  DiscBuilder& builder() { return builder_; }

  const Disc& finish() {
    disc_ = builder_.finish();
    return *disc_;
  }
  const Disc& disc() const { return *disc_; }
  NodeId id(std::string_view path) const {
    for (NodeId i = 0; i < disc_->tree().size(); ++i) {
      if (disc_->tree().path(i) == path) return i;
    }
    ADD_FAILURE() << "no node " << path;
    return kRoot;
  }

 private:
  DiscBuilder builder_;
  std::unique_ptr<const Disc> disc_;
};

}  // namespace lacuna::test
