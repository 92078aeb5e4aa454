// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/iso_part.h"

#include <algorithm>
#include <future>

#include "disc/unite.h"
#include "iso9660/boot_entries.h"
#include "iso9660/path_tables.h"

namespace lacuna::iso9660 {
namespace {

/// Joins `other` to base; a doubt about lost sections goes when the other view knows the file with the same length.
void unite_view(ReadTree& base, ReadTree& other, std::vector<bool>& agreed) {
  const UniteResult united = unite(base.tree, other.tree, base.findings);
  agreed.resize(base.tree.size());
  for (NodeId id = 0; id < agreed.size(); ++id) agreed[id] = agreed[id] || united.agreed[id];
  for (auto& [id, doubt] : other.tentative_doubts) {
    const NodeId at = united.base_ids[id];
    if (at != kNoNode && !united.agreed[at]) base.tree.add_doubt(at, std::move(doubt));
  }
  take_over(base.structures, other.structures, united.base_ids);
  take_over(base.lost_directories, other.lost_directories, united.base_ids);
  base.findings.add(other.findings);
}

/// How many entries of each hurt directory the united tree has all the same.
void count_elsewhere(ReadTree& base) {
  if (base.lost_directories.empty()) return;
  std::vector<std::uint64_t> children(base.tree.size());
  for (NodeId id = 1; id < base.tree.size(); ++id) {
    const Node& n = base.tree.node(id);
    if (n.parent != kNoNode) ++children[n.parent];
  }
  for (LostDirectory& lost : base.lost_directories) {
    if (lost.node != kNoNode && !base.tree.node(lost.node).has(node_flag::kUnread)) {
      lost.entries_elsewhere = children[lost.node];
    }
  }
}

}  // namespace

IsoPart::IsoPart(DiscBuilder& builder, const DiscOptions& options, IsoPartFacts facts)
    : builder_(builder), options_(options), facts_(std::move(facts)) {
  start_lba = facts_.set.start_lba;
  source = facts_.set.source;
  volumes = describe_set(builder_, facts_.set, facts_.shift_bytes);
}

std::vector<View> IsoPart::views() const {
  std::vector<View> views;
  if (facts_.trees.primary) views.push_back(View::kIso9660);
  if (facts_.trees.joliet) views.push_back(View::kJoliet);
  if (facts_.trees.enhanced) views.push_back(View::kEnhanced);
  return views;
}

Result<std::unique_ptr<SessionTree>> IsoPart::read() {
  auto tree = kept_ ? Result<std::unique_ptr<SessionTree>>(std::move(kept_)) : read_views(options_.view, nullptr);
  if (tree && *tree) {
    add_boot_entries(builder_, {&facts_.set, facts_.boot_catalogs, facts_.shift_bytes}, (*tree)->tree, kRoot);
  }
  return tree;
}

Result<IsoPart::Extents> IsoPart::survey(bool keep) {
  Extents extents;
  auto tree = read_views(std::nullopt, &extents.directories);
  if (!tree) return tree.error();
  if (!*tree) return extents;
  const Tree& all = (*tree)->tree;
  for (NodeId id = 1; id < all.size(); ++id) {
    for (const Extent& e : all.extents(all.node(id))) {
      if (e.has_place()) extents.files.push_back({e.position, e.position + e.bytes});
    }
  }
  if (keep && !options_.view) kept_ = std::move(*tree);
  return extents;
}

Result<std::unique_ptr<SessionTree>> IsoPart::read_views(const std::optional<View>& only,
                                                         std::vector<std::uint64_t>* entered) {
  auto out = std::make_unique<SessionTree>();
  std::vector<TreeRequest> requests = requests_for_views(only);
  if (requests.empty()) return std::unique_ptr<SessionTree>();
  std::vector<ReadTree> trees;
  for (Result<ReadTree>& read : read_all(requests)) {
    if (!read) return read.error();
    trees.push_back(std::move(*read));
  }
  if (entered != nullptr) {
    for (const ReadTree& t : trees) entered->insert(entered->end(), t.directories.begin(), t.directories.end());
  }
  ReadTree& base = trees.front();
  if (only == View::kRockRidge && !base.rock_ridge) return std::unique_ptr<SessionTree>();
  out->best = requests.front().view;
  if (base.rock_ridge && out->best == View::kIso9660) out->best = View::kRockRidge;
  for (const TreeRequest& r : requests) out->best = std::min(out->best, r.view);
  mark_rock_ridge(base.rock_ridge);

  std::vector<bool> agreed(base.tree.size());
  for (std::size_t i = 1; i < trees.size(); ++i) unite_view(base, trees[i], agreed);
  for (auto& [id, doubt] : base.tentative_doubts) {
    if (!agreed[id]) base.tree.add_doubt(id, std::move(doubt));
  }
  choose_views(base.tree, out->best);
  count_elsewhere(base);
  out->findings.add(base.findings);
  out->structures = std::move(base.structures);
  add_path_tables(out->structures);
  out->lost_directories = std::move(base.lost_directories);
  out->tree = std::move(base.tree);
  return out;
}

TreeRequest IsoPart::request(const VolumeBasis& volume, View view, bool susp) const {
  TreeRequest r;
  r.volume = volume;
  r.view = view;
  r.susp = susp;
  r.names_charset = options_.names_charset;
  if (facts_.scan) r.scope = {&facts_.scan->frames, facts_.orphans, facts_.earlier ? &facts_.scan->current : nullptr};
  return r;
}

std::vector<TreeRequest> IsoPart::requests_for_views(const std::optional<View>& only) const {
  std::vector<TreeRequest> requests;
  const VolumeTrees& trees = facts_.trees;
  const auto wants = [&only](View v) { return !only || *only == v; };
  const bool primary = wants(View::kIso9660) || wants(View::kRockRidge);
  if (trees.primary && primary) {
    requests.push_back(request(*trees.primary, View::kIso9660, only != View::kIso9660));
  }
  if (trees.joliet && wants(View::kJoliet)) requests.push_back(request(*trees.joliet, View::kJoliet, false));
  // Most enhanced descriptors name the primary's own root directory: the same records, nothing to unite.
  if (trees.enhanced && wants(View::kEnhanced)) {
    const bool same = trees.primary && root_position(*trees.primary) == root_position(*trees.enhanced);
    if (!same || requests.empty()) requests.push_back(request(*trees.enhanced, View::kEnhanced, false));
  }
  return requests;
}

/// Each tree on a thread of its own: they share nothing but the image.
std::vector<Result<ReadTree>> IsoPart::read_all(std::vector<TreeRequest>& requests) const {
  requests.front().progress = options_.progress;  // called from one thread only
  std::vector<std::future<Result<ReadTree>>> others;
  for (std::size_t i = 1; i < requests.size(); ++i) {
    others.push_back(
        std::async(std::launch::async, [this, &r = requests[i]] { return read_tree(builder_.image(), r); }));
  }
  std::vector<Result<ReadTree>> trees;
  trees.push_back(read_tree(builder_.image(), requests.front()));
  for (auto& other : others) trees.push_back(other.get());
  return trees;
}

void IsoPart::mark_rock_ridge(bool rock_ridge) {
  for (Volume& v : volumes) {
    if (rock_ridge && v.view == View::kIso9660) v.view = View::kRockRidge;
  }
}

void IsoPart::add_path_tables(std::vector<Structure>& structures) const {
  const VolumeTrees& trees = facts_.trees;
  for (const auto& [volume, view] : {std::pair{&trees.primary, View::kIso9660}, std::pair{&trees.joliet, View::kJoliet},
                                     std::pair{&trees.enhanced, View::kEnhanced}}) {
    if (!*volume) continue;
    for (Structure& s : path_table_structures(**volume, view)) structures.push_back(std::move(s));
  }
}

}  // namespace lacuna::iso9660
