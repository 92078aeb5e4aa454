// SPDX-License-Identifier: GPL-3.0-or-later
// UdfBox: a disc read from an image, and short ways to ask about it and to hold its files against what a builder wrote.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/content.h"
#include "lacuna/disc.h"
#include "lacuna/verdict.h"
#include "support/memory_image.h"
#include "support/udf_builder_variants.h"

namespace lacuna::test {

/// A builder of images over a built volume's bytes, where they belong on the disc.
inline MemoryImage memory_of(const UdfImage& image) {
  return MemoryImage(image.bytes, image.first_byte / kSectorBytes);
}

/// Paths of UdfImage as the tree has them: system streams hang on the root.
inline std::string tree_path(const std::string& path) { return path.starts_with("::") ? path.substr(1) : path; }

/// The nodes that a volume was built from, by UdfImage's paths.
inline void collect_nodes(const UdfNode& node, const std::string& path, std::map<std::string, const UdfNode*>& into) {
  into[path] = &node;
  for (const UdfNode& c : node.children) collect_nodes(c, path.empty() ? c.name : path + "/" + c.name, into);
  for (const UdfNode& s : node.streams) collect_nodes(s, path + ":" + s.name, into);
}

/// 1/7.3, computed apart from the reader: days since the epoch by Gauss' count of leap years.
inline Timestamp timestamp_of(const UdfTime& t) {
  const auto leaps = [](std::int64_t year) { return year / 4 - year / 100 + year / 400; };
  constexpr int kBefore[] = {0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334};
  const bool leap = t.year % 4 == 0 && (t.year % 100 != 0 || t.year % 400 == 0);
  const std::int64_t days = (t.year - 1970) * std::int64_t{365} + leaps(t.year - 1) - leaps(1969) +
                            kBefore[t.month - 1] + (leap && t.month > 2 ? 1 : 0) + t.day - 1;
  Timestamp out;
  out.zone_minutes = t.type == 1 && t.zone_minutes != -2047 ? t.zone_minutes : std::int16_t{0};
  out.seconds = ((days * 24 + t.hour) * 60 + t.minute - out.zone_minutes) * 60 + t.second;
  out.nanoseconds = t.centiseconds * 10'000'000 + t.hundreds_of_microseconds * 100'000 + t.microseconds * 1000;
  out.known = true;
  return out;
}

/// What the volume's own structures lead to, and nothing that looking through all sectors would bring up.
inline DiscOptions without_scan() {
  DiscOptions options;
  options.scan = ScanMode::kNever;
  return options;
}

class UdfBox {
 public:
  explicit UdfBox(const MemoryImage& memory, const DiscOptions& options = without_scan()) : image_(memory.open()) {
    auto opened = open_disc(*image_, options);
    if (!opened.ok()) {
      error_ = opened.error();
      return;
    }
    disc_ = std::move(*opened);
    JudgeOptions judging;
    judging.threads = 1;
    auto verdicts = judge(*disc_, judging);
    EXPECT_TRUE(verdicts.ok());
    if (verdicts.ok()) verdicts_ = std::move(*verdicts);
    for (const NodeId id : tree().in_order()) nodes_[tree().path(id)] = id;
  }

  bool ok() const { return disc_ != nullptr; }
  const Error& error() const { return *error_; }
  const Disc& disc() const { return *disc_; }
  const Tree& tree() const { return disc_->tree(); }
  const Verdicts& verdicts() const { return verdicts_; }
  const std::map<std::string, NodeId>& nodes() const { return nodes_; }
  std::optional<NodeId> find(const std::string& path) const {
    if (path.empty()) return kRoot;
    const auto at = nodes_.find(path);
    return at == nodes_.end() ? std::nullopt : std::optional(at->second);
  }
  NodeId must_find(const std::string& path) const {
    const auto id = find(path);
    EXPECT_TRUE(id) << "no such path: " << path;
    return id.value_or(kRoot);
  }
  const Node& node(const std::string& path) const { return tree().node(must_find(path)); }
  const NodeDetails& details(const std::string& path) const { return tree().details(node(path)); }
  FileState state(const std::string& path) const { return verdicts_.of(must_find(path)).state; }
  std::vector<std::string> doubts(NodeId id) const { return verdicts_.doubts(*disc_, id); }
  std::uint64_t findings(const std::string& kind) const {
    const auto at = disc_->findings().counts().find(kind);
    return at == disc_->findings().counts().end() ? 0 : at->second;
  }
  bool is_lost_directory(NodeId id) const {
    return std::ranges::any_of(disc_->lost_directories(), [&](const LostDirectory& l) { return l.node == id; });
  }
  std::string all_findings() const {
    std::string out;
    for (const Finding& f : disc_->findings().list()) out += "  " + f.kind + ": " + f.subject + ": " + f.text + "\n";
    return out;
  }

  /// Whether the reader brings out what was written: all that is recorded, and of zeros both ends. `missing` tells
  /// bytes that must come as zeros.
  bool reads_as(NodeId id, const UdfFile& file, const std::vector<Gap>& missing = {}) const {
    constexpr std::uint64_t kMost = std::uint64_t{1} << 20, kMostZeros = 5000;
    if (tree().node(id).size != file.bytes) return false;
    FileReader reader(*disc_, id);
    for (const UdfExtent& e : file.extents) {
      const std::uint64_t n = std::min(e.bytes, e.address ? kMost : kMostZeros);
      if (!reads_stretch(reader, file, e.offset, n, missing)) return false;
      if (n < e.bytes && !reads_stretch(reader, file, e.offset + e.bytes - n, n, missing)) return false;
    }
    return true;
  }

 private:
  static bool reads_stretch(FileReader& reader, const UdfFile& file, std::uint64_t offset, std::uint64_t n,
                            const std::vector<Gap>& missing) {
    std::string expected = file.read(offset, n);
    for (const Gap& g : missing) {
      const std::uint64_t from = std::max(g.offset, offset), to = std::min(g.offset + g.length, offset + n);
      if (from < to) std::fill_n(expected.begin() + static_cast<std::ptrdiff_t>(from - offset), to - from, '\0');
    }
    std::vector<std::uint8_t> out(n);
    std::vector<Gap> gaps;
    if (reader.read(offset, out, gaps) != n) return false;
    return std::ranges::equal(out, expected, [](std::uint8_t a, char b) { return a == static_cast<std::uint8_t>(b); });
  }

  std::unique_ptr<Image> image_;
  std::unique_ptr<const Disc> disc_;
  std::optional<Error> error_;
  Verdicts verdicts_;
  std::map<std::string, NodeId> nodes_;
};

inline const std::vector<UdfVariant>& all_variants() {
  static const std::vector<UdfVariant> variants = udf_variants();
  return variants;
}

/// A variant, built once in the program.
struct BuiltVariant {
  const UdfVariant& variant;
  UdfImage image;
};
inline const BuiltVariant& built_variant(std::size_t index) {
  static std::map<std::size_t, BuiltVariant> built;
  const auto at = built.find(index);
  if (at != built.end()) return at->second;
  const UdfVariant& v = all_variants().at(index);
  return built.emplace(index, BuiltVariant{v, build_udf(v.root, v.options)}).first->second;
}

/// For tests over all variants: the name tells which.
inline std::string variant_name(std::size_t index) {
  std::string name;
  for (const char c : all_variants().at(index).name) {
    if (std::isalnum(static_cast<unsigned char>(c)) != 0) {
      name += c;
    } else if (!name.empty() && name.back() != '_') {
      name += '_';
    }
  }
  return name;
}

class UdfVariantTest : public ::testing::TestWithParam<std::size_t> {
 protected:
  const UdfVariant& variant() const { return built_variant(GetParam()).variant; }
  const UdfImage& image() const { return built_variant(GetParam()).image; }
};

/// Indices of the variants that a test is about.
inline std::vector<std::size_t> variants_where(const std::function<bool(const UdfVariant&)>& wanted) {
  std::vector<std::size_t> chosen;
  const std::vector<UdfVariant>& all = all_variants();
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (wanted(all[i])) chosen.push_back(i);
  }
  return chosen;
}

#define LACUNA_FOR_UDF_VARIANTS(suite, wanted)                                                      \
  INSTANTIATE_TEST_SUITE_P(Udf, suite, ::testing::ValuesIn(::lacuna::test::variants_where(wanted)), \
                           [](const auto& i) { return ::lacuna::test::variant_name(i.param); })
#define LACUNA_FOR_ALL_UDF_VARIANTS(suite) LACUNA_FOR_UDF_VARIANTS(suite, [](const UdfVariant&) { return true; })

}  // namespace lacuna::test
