// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/pull_layout.h"

#include <fmt/format.h>
#include <xxhash.h>

#include "lacuna/file_kind.h"
#include "salvage/output_folder.h"

namespace lacuna {
namespace {

constexpr std::string_view kUndated = "undated";
constexpr std::int64_t kDaySeconds = 86'400;

// Of a letter case or a normal form that another file system takes for the same: one key. Two different ones that
// share a hash cost a suffix.
std::uint64_t path_key(std::string_view path) {
  const std::string folded = fold_key(path);
  return XXH3_64bits(folded.data(), folded.size());
}

/// A track may come out under either name.
std::string other_form(const Tree& tree, NodeId id, std::string_view path) {
  const RawContent* raw = tree.raw_content(id);
  if (raw == nullptr || !path.ends_with(".wav")) return {};
  return std::string(path.substr(0, path.size() - 4)) + ".flac";
}

}  // namespace

std::string year_of(const Timestamp& modified, std::int64_t now) {
  const std::string text = to_iso8601(modified);
  if (text.size() < 10 || modified.seconds > now + kDaySeconds) return {};
  const std::string day = text.substr(0, 10);
  if (day <= "1970-01-01" || day == "1980-01-01") return {};
  return text.substr(0, 4);
}

PullLayout::PullLayout(const Tree& tree, const TargetNames& names, const FolderLayout& layout, bool portable,
                       const LayoutRecord& record, std::int64_t now)
    : tree_(&tree), names_(&names), layout_(layout), portable_(portable), now_(now), disc_(record.disc_name()) {
  if (layout.bag) root_ = fmt::format("{}/", kPayloadFolder);
  prefix_ = root_;
  if (layout.arrangement != Arrangement::kTree) {
    arrange(record);
  } else if (layout.is_collection()) {
    prefix_ += disc_ + '/';
  }
}

std::string_view PullLayout::no_links() const noexcept {
  if (layout_.bag) return "a symbolic link, which a bag does not hold";
  if (layout_.is_collection()) return "a symbolic link, which is recorded but not made where files are moved";
  return {};
}

std::string PullLayout::folder_of(const Node& node) const {
  std::string out = root_;
  if (layout_.arrangement != Arrangement::kKind) {
    const std::string year = year_of(node.modified, now_);
    out += year.empty() ? kUndated : std::string_view(year);
    out += '/';
  }
  if (layout_.arrangement != Arrangement::kYear) {
    out += to_string(file_kind(tree_->name(node)));
    out += '/';
  }
  return out;
}

std::string PullLayout::wanted_name(const Node& node) const { return clean_name(tree_->name(node), portable_); }

/// Takes a path, in both forms that the file may have, unless either is taken.
bool PullLayout::claim(NodeId id, const std::string& path) {
  const std::uint64_t key = path_key(path);
  const std::string other = other_form(*tree_, id, path);
  const std::uint64_t other_key = other.empty() ? key : path_key(other);
  if (taken_.contains(key) || taken_.contains(other_key)) return false;
  if (has_foreign_) {  // as a damaged one it would stand elsewhere, where another disc's may be
    const std::string beside = damaged(path);
    if (taken_.contains(path_key(beside)) || taken_.contains(path_key(gap_list_path(beside)))) return false;
  }
  taken_.insert(key);
  taken_.insert(other_key);
  return true;
}

void PullLayout::keep_earlier(const LayoutRecord& record) {
  std::unordered_map<std::string, std::string> names;  // by path
  record.for_each_own([&](std::string_view path, std::string_view target) {
    names.insert_or_assign(std::string(path), std::string(target));
  });
  if (names.empty()) return;
  const std::string damaged_root = fmt::format("{}{}/", root_, kDamagedFolder);
  for (NodeId id = 0; id < tree_->size(); ++id) {
    const Node& node = tree_->node(id);
    if (node.kind != NodeKind::kFile) continue;
    const auto it = names.find(tree_->path(id));
    if (it == names.end()) continue;
    std::string target = it->second;
    if (target.starts_with(damaged_root)) target.erase(root_.size(), damaged_root.size() - root_.size());
    std::string name(split_path(target).second);
    if (tree_->raw_content(id) != nullptr && name.ends_with(".flac") && tree_->name(node).ends_with(".wav")) {
      name = name.substr(0, name.size() - 5) + ".wav";
    }
    // A record that puts it where it can't belong is not followed.
    const std::string path = folder_of(node) + name;
    if (!is_inside_path(path) || clean_name(name, portable_) != name ||
        split_path(path).first != split_path(target).first || !claim(id, path)) {
      continue;
    }
    kept_.insert(id);
    if (name != wanted_name(node)) changed_.emplace(id, std::move(name));
  }
}

void PullLayout::name_arranged(NodeId id) {
  const Node& node = tree_->node(id);
  const std::string folder = folder_of(node), wanted = wanted_name(node);
  std::string name = wanted;
  const std::string original = fmt::format("{}/{}", disc_, tree_->path(id));
  for (unsigned attempt = 0; !claim(id, folder + name); ++attempt) name = with_suffix(wanted, original, attempt);
  if (name != wanted) changed_.emplace(id, std::move(name));
}

void PullLayout::arrange(const LayoutRecord& record) {
  record.for_each_foreign([&](std::string_view path) { taken_.insert(path_key(path)); });
  has_foreign_ = !taken_.empty();
  keep_earlier(record);
  // As in TargetNames, deleted files come last.
  const auto in_order = tree_->in_order();
  for (const bool deleted : {false, true}) {
    for (const NodeId id : in_order) {
      const Node& node = tree_->node(id);
      if (node.kind == NodeKind::kFile && node.has(node_flag::kDeleted) == deleted && !kept_.contains(id)) {
        name_arranged(id);
      }
    }
  }
  taken_ = {};
  kept_ = {};
}

std::string PullLayout::path(NodeId id) const {
  if (layout_.arrangement == Arrangement::kTree) {
    if (id == kRoot) return prefix_.substr(0, prefix_.empty() ? 0 : prefix_.size() - 1);
    return prefix_ + names_->path(id);
  }
  const Node& node = tree_->node(id);
  const auto it = changed_.find(id);
  return folder_of(node) + (it != changed_.end() ? it->second : wanted_name(node));
}

std::string PullLayout::damaged(std::string_view ordinary) const {
  return root_ + damaged_path(ordinary.substr(root_.size()));
}

}  // namespace lacuna
