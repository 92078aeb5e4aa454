// SPDX-License-Identifier: GPL-3.0-or-later
// Strategy: (1) level by level, directories that the path table names and their hurt parents don't; (2) whenever
// directories have been read, those that name them in ".." and are missing there; (3) parents that nothing names but
// their children, as orphans, with these; (4) directories that name each other in a loop, one of each as an orphan;
// (5) sectors of records whose directory's beginning is lost. What each step brings is read, and (2) done again, before
// the next.
#include "iso9660/adoption.h"

#include <fmt/format.h>

#include <algorithm>
#include <numeric>

#include "disc/orphans.h"

namespace lacuna::iso9660 {
namespace {

constexpr const char* kHeadlessDoubt =
    "named by records whose directory's beginning is lost: nothing confirms that their addresses are this volume's";

}  // namespace

Adoption::Adoption(const Image& image, const VolumeBasis& volume, const TreeContext& context, const Scope& scope,
                   const PathTables& tables, Tree& tree, NodeMaker& maker, Findings& findings)
    : image_(image),
      volume_(volume),
      context_(context),
      scope_(scope),
      tables_(tables),
      tree_(tree),
      maker_(maker),
      findings_(findings),
      frame_(scope.frames->of_shift(volume.shift_bytes)) {
  if (frame_ != nullptr && frame_->block_bytes != volume.block_bytes) frame_ = nullptr;
  // Some writers record a later session's own length, not its end.
  if (volume.root && volume.at(volume.root->extent.value()) < volume.space_bytes) space_end_ = volume.space_bytes;
  for (const PathDirectory& d : tables.directories()) path_positions_.insert(d.position);
  if (frame_ == nullptr) return;
  by_parent_.resize(frame_->directories.size());
  std::iota(by_parent_.begin(), by_parent_.end(), 0U);
  std::stable_sort(by_parent_.begin(), by_parent_.end(), [this](std::uint32_t a, std::uint32_t b) {
    return frame_->directories[a].parent < frame_->directories[b].parent;
  });
}

std::vector<PendingDirectory> Adoption::next(const StartedDirectories& started,
                                             const std::vector<Structure>& structures) {
  for (;;) {
    if (table_at_ < tables_.directories().size()) {
      if (Pending found = table_level(started); !found.empty()) return found;
      continue;
    }
    if (Pending found = children(started); !found.empty()) return found;
    if (stage_ == 3) return {};
    ++stage_;
    if (!any_hurt(started)) return {};  // a tree that is complete has no orphans: those are an older volume's
    Pending found = stage_ == 1 ? lost_parents(started) : stage_ == 2 ? loops(started) : headless_runs(structures);
    if (!found.empty()) return found;
  }
}

bool Adoption::any_hurt(const StartedDirectories& started) const {
  return is_hurt(kRoot) ||
         std::ranges::any_of(started.order, [&](std::uint64_t position) { return is_hurt(started.at(position)); });
}

bool Adoption::kind_fits(IdentifierKind kind) const {
  if (kind == IdentifierKind::kUnknown) return context_.view == View::kIso9660;
  return (kind == IdentifierKind::kUcs2) == (context_.view == View::kJoliet);
}

bool Adoption::may_be_orphan(const FrameDirectory& d) const {
  if (d.position < scope_.orphans.first || d.position >= scope_.orphans.end) return false;
  if (d.position >= space_end_) return false;
  return !d.is_root() && kind_fits(d.kind) && !scope_.is_newer(d.position);
}

std::uint16_t Adoption::depth_of(NodeId id) const {
  std::uint16_t depth = 0;
  for (; id != kRoot && id != kNoNode; id = tree_.node(id).parent) ++depth;
  return depth;
}

/// A directory that no path table names may as well be of an earlier use of the disc, whose files' places are in use
/// again: what it says of its parent only tells that a directory stood there once.
bool Adoption::is_stray(std::uint64_t position) const { return !path_positions_.contains(position); }

PendingDirectory Adoption::adopt(const FrameDirectory& d, NodeId parent) {
  const Bytes identifier = tables_.identifier_at(d.position);
  const NodeId id = maker_.add_directory(parent, identifier, d.position, d.bytes, Evidence::kScan);
  if (d.relocated) tree_.edit(id).flags |= node_flag::kRelocated;
  return {id, d.position, d.bytes, depth_of(id), false, Evidence::kScan, nullptr, is_stray(d.position)};
}

void Adoption::take_orphan_folder() {
  if (orphans_ == kNoNode) orphans_ = orphans_folder(tree_, context_.view);
}

// ---- (1) path tables

/// Records that follow one another at one depth, so that the parents of all have been read.
Adoption::Pending Adoption::table_level(const StartedDirectories& started) {
  const auto directories = tables_.directories();
  const std::uint32_t depth = directories[table_at_].depth;
  Pending found;
  for (; table_at_ < directories.size() && directories[table_at_].depth == depth; ++table_at_) {
    const PathDirectory& d = directories[table_at_];
    if (d.depth == 0 || started.at(d.position) != kNoNode) continue;
    if (scope_.is_newer(d.position)) continue;
    const NodeId parent = started.at(directories[d.parent].position);
    // A parent that was read in full knows better.
    if (parent == kNoNode || !is_hurt(parent)) continue;
    const FrameDirectory* stands = frame_ == nullptr ? nullptr : frame_->find(d.position);
    const std::uint64_t bytes = stands != nullptr ? stands->bytes : length_behind(d.position);
    const NodeId id = maker_.add_directory(parent, tables_.identifier(d), d.position, bytes, Evidence::kPathTable);
    found.push_back({id, d.position, bytes, depth_of(id), false, Evidence::kPathTable,
                     stands != nullptr ? nullptr : kHeadlessDoubt});
  }
  return found;
}

/// The length of a directory whose beginning is lost: sectors of records belong to the directory that starts before
/// them, if all between is lost.
std::uint64_t Adoption::length_behind(std::uint64_t position) const {
  constexpr std::uint64_t kMostLostSectors = 64;
  constexpr std::uint64_t kMostBytes = std::uint64_t{8} << 20;
  std::uint64_t bytes = kSectorBytes;
  std::array<std::uint8_t, kSectorBytes> sector;
  std::array<SectorState, 1> state;
  const auto is_lost = [&](std::uint64_t at) {
    image_.read(at / kSectorBytes, sector, state);
    return !has_bytes(state[0]);
  };
  if (lies_before_disc(position) || (image_.has_map() && !is_lost(position))) return bytes;
  const auto& records = scope_.frames->remains().records();
  auto at = std::lower_bound(records.begin(), records.end(), position,
                             [](const FoundRecords& r, std::uint64_t wanted) { return r.position < wanted; });
  for (; at != records.end() && bytes < kMostBytes; ++at) {
    if (at->position - position > bytes + kMostLostSectors * kSectorBytes) break;
    if (!kind_fits(at->kind) && at->kind != IdentifierKind::kUnknown) break;
    for (std::uint64_t between = position + bytes; between < at->position; between += kSectorBytes) {
      if (path_positions_.contains(between) || !is_lost(between)) return bytes;
    }
    bytes = at->position + kSectorBytes - position;
  }
  return bytes;
}

// ---- (2) ".."

Adoption::Pending Adoption::children(const StartedDirectories& started) {
  Pending found;
  for (; seen_ < started.order.size(); ++seen_) {
    if (frame_ == nullptr) continue;
    const std::uint64_t position = started.order[seen_];
    const NodeId parent = started.at(position);
    if (!is_hurt(parent)) continue;
    auto at = std::lower_bound(
        by_parent_.begin(), by_parent_.end(), position,
        [this](std::uint32_t i, std::uint64_t wanted) { return frame_->directories[i].parent < wanted; });
    for (; at != by_parent_.end() && frame_->directories[*at].parent == position; ++at) {
      const FrameDirectory& d = frame_->directories[*at];
      if (d.is_root() || started.at(d.position) != kNoNode || !kind_fits(d.kind)) continue;
      if (scope_.is_newer(d.position)) continue;
      found.push_back(adopt(d, parent));
    }
  }
  return found;
}

// ---- (3) parents that are lost

bool Adoption::claimed_by_file(std::uint64_t position) {
  if (!files_) {
    std::vector<Range> ranges;
    for (NodeId id = 1; id < tree_.size(); ++id) {
      for (const Extent& e : tree_.extents(tree_.node(id))) {
        if (e.has_place()) ranges.push_back({e.position, e.position + e.bytes});
      }
    }
    files_ = RangeSet::from_unsorted(std::move(ranges));
  }
  return files_->contains(position);
}

Adoption::Pending Adoption::lost_parents(const StartedDirectories& started) {
  Pending found;
  if (frame_ == nullptr) return found;
  for (std::size_t i = 0; i < by_parent_.size();) {
    const FrameDirectory& first = frame_->directories[by_parent_[i]];
    const std::uint64_t parent = first.parent;
    std::vector<const FrameDirectory*> children;
    std::uint32_t bytes = 0;
    for (; i < by_parent_.size() && frame_->directories[by_parent_[i]].parent == parent; ++i) {
      const FrameDirectory& d = frame_->directories[by_parent_[i]];
      if (!may_be_orphan(d) || started.at(d.position) != kNoNode) continue;
      children.push_back(&d);
      bytes = std::max(bytes, d.parent_bytes);
    }
    if (children.empty() || started.at(parent) != kNoNode) continue;
    if (parent == kUnknownParent) {
      take_orphan_folder();
      for (const FrameDirectory* d : children) found.push_back(adopt(*d, orphans_));
      continue;
    }
    const bool newer = scope_.is_newer(parent);
    if (!newer && frame_->find(parent) != nullptr) continue;
    if (claimed_by_file(parent)) continue;  // where the parent was there is a file now: an older volume
    take_orphan_folder();
    const std::uint64_t length = newer ? 0 : std::max<std::uint64_t>(bytes, length_behind(parent));
    const Bytes identifier = newer ? Bytes{} : tables_.identifier_at(parent);
    const NodeId id = maker_.add_directory(orphans_, identifier, parent, length, Evidence::kScan);
    if (newer) {  // what stands there now is another directory
      tree_.edit(id).flags |= node_flag::kUnread;
      for (const FrameDirectory* d : children) found.push_back(adopt(*d, id));
    } else {
      found.push_back({id, parent, length, 2, false, Evidence::kScan, nullptr, is_stray(parent)});
    }
  }
  return found;
}

// ---- (4) loops

Adoption::Pending Adoption::loops(const StartedDirectories& started) {
  Pending found;
  if (frame_ == nullptr) return found;
  const auto& all = frame_->directories;
  enum : std::uint8_t { kNew, kOnPath, kDone };
  std::vector<std::uint8_t> state(all.size(), kNew);
  std::vector<std::size_t> path;
  for (std::size_t i = 0; i < all.size(); ++i) {
    path.clear();
    std::size_t at = i;
    bool looped = false;
    for (;;) {
      if (state[at] != kNew || !may_be_orphan(all[at]) || started.at(all[at].position) != kNoNode) {
        looped = state[at] == kOnPath;
        break;
      }
      state[at] = kOnPath;
      path.push_back(at);
      const FrameDirectory* parent = frame_->find(all[at].parent);
      if (parent == nullptr) break;
      at = static_cast<std::size_t>(parent - all.data());
    }
    if (looped) {
      const auto loop = std::find(path.begin(), path.end(), at);
      const FrameDirectory& least = all[*std::min_element(loop, path.end())];
      take_orphan_folder();
      found.push_back(adopt(least, orphans_));
      findings_.add({Severity::kDoubt, "directory-loop", tree_.path(found.back().node), least.position / kSectorBytes,
                     "ECMA-119 6.8.2",
                     fmt::format("{} directories name each other as parents in a circle", path.end() - loop)});
    }
    for (const std::size_t p : path) state[p] = kDone;
  }
  return found;
}

// ---- (5) records without a beginning

Adoption::Pending Adoption::headless_runs(const std::vector<Structure>& structures) {
  const Remains& remains = scope_.frames->remains();
  std::vector<Range> known;
  for (const FoundDirectory& d : remains.directories()) known.push_back({d.position, d.position + d.bytes});
  for (const Structure& s : structures) {
    if (s.kind == StructureKind::kDirectory) known.push_back({s.position, s.position + s.bytes});
  }
  for (const Range& r : scope_.frames->stored_images(volume_.shift_bytes)) known.push_back(r);
  std::erase_if(known, [](const Range& r) { return lies_before_disc(r.first) || r.end < r.first; });
  const RangeSet taken = RangeSet::from_unsorted(std::move(known));
  Pending found;
  const auto& records = remains.records();
  for (std::size_t i = 0; i < records.size();) {
    const std::uint64_t first = records[i].position;
    const auto fits = [&](const FoundRecords& r) {
      return r.position >= scope_.orphans.first && r.position < scope_.orphans.end && kind_fits(r.kind) &&
             r.position < space_end_ && !taken.contains(r.position) && !claimed_by_file(r.position);
    };
    if (!fits(records[i])) {
      ++i;
      continue;
    }
    std::uint64_t end = first;
    for (; i < records.size() && records[i].position == end && fits(records[i]); ++i) end += kSectorBytes;
    take_orphan_folder();
    const NodeId id = maker_.add_directory(orphans_, {}, first, end - first, Evidence::kScan);
    tree_.edit(id).flags |= node_flag::kIncomplete;
    found.push_back({id, first, end - first, 2, true, Evidence::kScan, kHeadlessDoubt});
  }
  return found;
}

// ---- relocated directories

void Adoption::rehome(const StartedDirectories& started) {
  if (frame_ == nullptr) return;
  for (const FrameDirectory& d : frame_->directories) {
    if (!d.relocated) continue;
    const NodeId id = started.at(d.position);
    const NodeId parent = started.at(d.parent);
    if (id == kNoNode || parent == kNoNode || tree_.node(id).has(node_flag::kRelocated) || !is_hurt(parent)) continue;
    if (tree_.move(id, parent)) tree_.edit(id).flags |= node_flag::kRelocated;
  }
}

}  // namespace lacuna::iso9660
