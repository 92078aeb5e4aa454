// SPDX-License-Identifier: GPL-3.0-or-later
// A disc read and judged from a RawImage, with short ways to ask about it.
#pragma once

#include <gtest/gtest.h>

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "lacuna/content.h"
#include "lacuna/disc.h"
#include "lacuna/verdict.h"
#include "support/raw_image.h"

namespace lacuna::test {

class OpenedRaw {
 public:
  explicit OpenedRaw(const RawImage& raw, const DiscOptions& options = {}) : OpenedRaw(raw.open(), options) {}
  explicit OpenedRaw(std::unique_ptr<Image> image, const DiscOptions& options = {}) : image_(std::move(image)) {
    auto opened = open_disc(*image_, options);
    if (!opened.ok()) {
      error_ = opened.error();
      return;
    }
    disc_ = std::move(*opened);
    auto judged = judge(*disc_);
    EXPECT_TRUE(judged.ok());
    if (judged.ok()) verdicts_ = std::move(*judged);
  }

  bool ok() const { return disc_ != nullptr; }
  const Error& error() const { return *error_; }
  const Image& image() const { return *image_; }
  const Disc& disc() const { return *disc_; }
  const Tree& tree() const { return disc_->tree(); }
  const Verdicts& verdicts() const { return verdicts_; }

  std::vector<std::string> paths() const {
    std::vector<std::string> all;
    for (const NodeId id : tree().in_order()) all.push_back(tree().path(id));
    return all;
  }
  NodeId id(std::string_view path) const {
    for (const NodeId id : tree().in_order()) {
      if (tree().path(id) == path) return id;
    }
    ADD_FAILURE() << "no such path: " << path;
    return kRoot;
  }
  const Node& node(std::string_view path) const { return tree().node(id(path)); }
  const Verdict& verdict(std::string_view path) const { return verdicts_.of(id(path)); }
  FileState state(std::string_view path) const { return verdict(path).state; }
  std::vector<Gap> gaps(std::string_view path) const {
    const auto all = verdicts_.gaps(verdict(path));
    return {all.begin(), all.end()};
  }
  std::vector<std::string> doubts(std::string_view path) const { return verdicts_.doubts(*disc_, id(path)); }
  std::uint64_t findings(const std::string& kind) const {
    const auto it = disc_->findings().counts().find(kind);
    return it == disc_->findings().counts().end() ? 0 : it->second;
  }
  /// The content in requests of `step` bytes; what reading it shows to be missing goes to `gaps`.
  std::vector<std::uint8_t> content(std::string_view path, std::vector<Gap>* gaps = nullptr,
                                    std::size_t step = 100000) const {
    FileReader reader(*disc_, id(path));
    std::vector<std::uint8_t> all(static_cast<std::size_t>(reader.size()));
    std::vector<Gap> met;
    for (std::size_t at = 0; at < all.size(); at += step) {
      const std::size_t wanted = std::min(step, all.size() - at);
      EXPECT_EQ(reader.read(at, std::span(all).subspan(at, wanted), met), wanted);
    }
    if (gaps != nullptr) *gaps = met;
    return all;
  }

 private:
  std::unique_ptr<Image> image_;
  std::unique_ptr<const Disc> disc_;
  std::optional<Error> error_;
  Verdicts verdicts_;
};

}  // namespace lacuna::test
