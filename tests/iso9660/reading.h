// SPDX-License-Identifier: GPL-3.0-or-later
// A disc read from a built image, with short ways to ask about it.
#pragma once

#include <gtest/gtest.h>

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/verdict.h"
#include "support/iso_builder.h"
#include "support/memory_image.h"

namespace lacuna::test {

inline constexpr std::uint64_t kSector = 2048;

inline std::string bytes(std::size_t n, char c = 'x') {
  std::string s(n, c);
  for (std::size_t i = 0; i < n; ++i) s[i] = static_cast<char>(c + static_cast<char>(i % 23));
  return s;
}

class Reading {
 public:
  explicit Reading(
      const IsoImage& iso, const DiscOptions& options = {},
      const std::function<void(MemoryImage&)>& damage = [](MemoryImage&) {}) {
    MemoryImage memory(iso.bytes, iso.start_lba);
    memory.with_map();
    damage(memory);
    image_ = memory.open();
    auto opened = open_disc(*image_, options);
    if (!opened.ok()) {
      error_ = opened.error();
      return;
    }
    disc_ = std::move(*opened);
    auto verdicts = judge(*disc_);
    EXPECT_TRUE(verdicts.ok());
    if (verdicts.ok()) verdicts_ = std::move(*verdicts);
  }

  bool ok() const { return disc_ != nullptr; }
  const Error& error() const { return *error_; }
  const Disc& disc() const { return *disc_; }
  const Tree& tree() const { return disc_->tree(); }

  std::vector<std::string> paths() const {
    std::vector<std::string> all;
    for (const NodeId id : tree().in_order()) all.push_back(tree().path(id));
    return all;
  }
  NodeId find(const std::string& path) const {
    for (const NodeId id : tree().in_order()) {
      if (tree().path(id) == path) return id;
    }
    ADD_FAILURE() << "no such path: " << path;
    return kRoot;
  }
  const Node& node(const std::string& path) const { return tree().node(find(path)); }
  FileState state(const std::string& path) const { return verdicts_.of(find(path)).state; }
  std::vector<std::string> doubts(const std::string& path) const { return verdicts_.doubts(*disc_, find(path)); }
  const Verdicts& verdicts() const { return verdicts_; }
  std::uint64_t findings(const std::string& kind) const {
    const auto it = disc_->findings().counts().find(kind);
    return it == disc_->findings().counts().end() ? 0 : it->second;
  }

 private:
  std::unique_ptr<Image> image_;
  std::unique_ptr<const Disc> disc_;
  std::optional<Error> error_;
  Verdicts verdicts_;
};

}  // namespace lacuna::test
