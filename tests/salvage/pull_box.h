// SPDX-License-Identifier: GPL-3.0-or-later
// PullBox: a disc written by hand, and a folder of its own to pull it into, for the tests of pulling and verifying.
#pragma once

#include <gtest/gtest.h>
#include <sys/stat.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "hand_disc.h"
#include "lacuna/pull.h"
#include "lacuna/verdict.h"
#include "salvage/manifest.h"
#include "salvage/target_names.h"
#include "support/authoring.h"
#include "support/memory_image.h"
#include "support/noise.h"

namespace lacuna::test {

namespace fs = std::filesystem;

inline Timestamp date(std::int64_t seconds, std::int32_t nanoseconds = 0) {
  Timestamp t;
  t.seconds = seconds;
  t.nanoseconds = nanoseconds;
  t.known = true;
  return t;
}

inline std::string read_text(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  EXPECT_TRUE(in.good()) << path;
  return {std::istreambuf_iterator<char>(in), {}};
}
/// The entries of a folder's manifest; a bad line is a failure of the test.
inline std::vector<ManifestEntry> entries_of(const fs::path& folder) {
  std::vector<ManifestEntry> out;
  std::ifstream in(folder / kManifestName);
  std::string line, error;
  std::getline(in, line);
  EXPECT_TRUE(parse_header(line, error)) << error;
  while (std::getline(in, line)) {
    auto e = parse_entry(line, error);
    EXPECT_TRUE(e) << error << ": " << line;
    if (e) out.push_back(std::move(*e));
  }
  return out;
}
/// Lstat; exists() follows links.
inline bool is_there(const fs::path& path) { return fs::symlink_status(path).type() != fs::file_type::not_found; }

/// All paths below a folder, relative, sorted; directories with a '/' at their end.
inline std::vector<std::string> listing(const fs::path& folder) {
  std::vector<std::string> out;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    const bool directory = entry.symlink_status().type() == fs::file_type::directory;
    out.push_back(fs::relative(entry.path().parent_path(), folder)
                      .append(entry.path().filename().string())
                      .lexically_normal()
                      .string() +
                  (directory ? "/" : ""));
  }
  std::sort(out.begin(), out.end());
  return out;
}

/// The exit status of a shell command run in a folder.
inline int shell(const fs::path& folder, const std::string& command) {
  const int status = std::system(("cd '" + folder.string() + "' && " + command).c_str());
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

class PullBox {
 public:
  struct Item {
    std::string name, content, symlink;
    NodeKind kind = NodeKind::kFile;
    std::size_t parent = 0;  // 0: the root, else 1 + index
    Timestamp modified;
    std::uint64_t lba = 0;
  };

  /// Of a directory: what to give as `parent`.
  std::size_t directory(std::string name, std::size_t parent = 0, Timestamp modified = date(1'000'000'000)) {
    return put({std::move(name), "", "", NodeKind::kDirectory, parent, modified, 0});
  }
  /// Gives the file's first LBA.
  std::uint64_t file(std::string name, std::string content, std::size_t parent = 0,
                     Timestamp modified = date(1'083'820'089, 123'456'789)) {
    return items_[put({std::move(name), std::move(content), "", NodeKind::kFile, parent, modified, 0}) - 1].lba;
  }
  void symlink(std::string name, std::string target, std::size_t parent = 0) {
    put({std::move(name), "", std::move(target), NodeKind::kSymlink, parent, date(1'000'000'001), 0});
  }
  void special(std::string name, NodeKind kind) { put({std::move(name), "", "", kind, 0, {}, 0}); }

  MemoryImage memory() const {
    std::vector<std::uint8_t> bytes;
    for (const Item& i : items_) {
      bytes.resize(std::max<std::size_t>(bytes.size(), i.lba * kSectorBytes));
      bytes.insert(bytes.end(), i.content.begin(), i.content.end());
    }
    bytes.resize(next_lba_ * kSectorBytes);
    return MemoryImage(std::move(bytes)).with_map();
  }
  void open() { open(memory().open()); }
  void open(const MemoryImage& memory) { open(memory.open()); }
  void open(std::unique_ptr<Image> image) {
    hand_.reset();
    image_ = std::move(image);
    hand_ = std::make_unique<HandDisc>(*image_);
    std::vector<NodeId> ids{kRoot};
    for (const Item& i : items_) {
      Node n;
      n.kind = i.kind;
      n.size = i.content.size();
      n.view = View::kRockRidge;
      n.modified = i.modified;
      std::vector<Extent> extents;
      if (!i.content.empty()) extents.push_back(at_lba(i.lba, i.content.size()));
      ids.push_back(hand_->node(i.name, n, extents, ids[i.parent]));
      if (!i.symlink.empty()) {
        const TextRef text = hand_->tree().add_text(i.symlink);
        hand_->tree().edit_details(ids.back()).symlink_target = text;
      }
    }
    hand_->finish();
    auto verdicts = judge(hand_->disc(), {});
    ASSERT_TRUE(verdicts.ok());
    verdicts_ = std::make_unique<Verdicts>(std::move(*verdicts));
  }

  fs::path to() const { return scratch_.path() / "out"; }
  fs::path scratch() const { return scratch_.path(); }
  const Disc& disc() const { return hand_->disc(); }
  const Verdicts& verdicts() const { return *verdicts_; }

  Result<PullReport> try_pull(PullOptions options = {}) const {
    if (options.to.empty()) options.to = to();
    return lacuna::pull(disc(), verdicts(), options);
  }
  PullReport pull(PullOptions options = {}) const {
    auto report = try_pull(std::move(options));
    if (!report) {
      ADD_FAILURE() << report.error().message;
      return {};
    }
    return std::move(*report);
  }
  /// What a report says of a path.
  PulledFile of(const PullReport& report, std::string_view path) const {
    for (const PulledFile& f : report.files) {
      if (disc().tree().path(f.node) == path) return f;
    }
    ADD_FAILURE() << path << " is not in the report";
    return {};
  }
  /// The manifest's entries by path; of several for one path the last.
  std::map<std::string, ManifestEntry> manifest() const {
    std::map<std::string, ManifestEntry> out;
    for (ManifestEntry& e : manifest_entries()) out[e.path] = std::move(e);
    return out;
  }
  std::vector<ManifestEntry> manifest_entries() const { return entries_of(to()); }
  /// The manifest without its first line, which tells the time.
  std::string manifest_body() const {
    const std::string text = read_text(to() / kManifestName);
    return text.substr(text.find('\n') + 1);
  }
  int check_sums() const { return shell(to(), "sha256sum --check --strict --quiet SHA256SUMS"); }

 private:
  std::size_t put(Item item) {
    item.lba = next_lba_;
    next_lba_ += (item.content.size() + kSectorBytes - 1) / kSectorBytes;
    items_.push_back(std::move(item));
    return items_.size();
  }

  ScratchFolder scratch_;
  std::vector<Item> items_;
  std::uint64_t next_lba_ = 20;
  std::unique_ptr<Image> image_;
  std::unique_ptr<HandDisc> hand_;
  std::unique_ptr<Verdicts> verdicts_;
};

}  // namespace lacuna::test
