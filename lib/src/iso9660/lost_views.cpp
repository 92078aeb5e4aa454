// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/lost_views.h"

#include <fmt/format.h>

#include <algorithm>
#include <unordered_set>

#include "iso9660/path_tables.h"

namespace lacuna::iso9660 {
namespace {

// Fewer directories in a path table that nothing else confirms may be a coincidence.
constexpr std::size_t kLeastPathRecords = 2;

bool any(const VolumeTrees& trees) { return trees.primary || trees.joliet || trees.enhanced; }

class Search {
 public:
  Search(const Image& image, const Frames& frames, const Frame* frame, const std::vector<DescriptorSet>& sets,
         std::vector<VolumeTrees>& trees, Findings& findings)
      : image_(image), frames_(frames), frame_(frame), sets_(sets), trees_(trees), findings_(findings) {
    for (const VolumeTrees& t : trees_) note_roots(t);
  }

  std::vector<LostSession> run() {
    if (frame_ != nullptr) take_roots();
    for (std::size_t i = 0; i < sets_.size(); ++i) {
      if (sets_[i].incomplete) take_rootless(trees_[i], region_of(i));
    }
    if (sets_.empty()) {
      // What is left belongs to the first session, if any: one that has nothing yet where nothing else is known.
      LostSession none;
      LostSession& first = sessions_.empty() ? none : sessions_.front();
      const std::uint64_t end = sessions_.size() > 1 ? sessions_[1].start_lba * kSectorBytes : ~std::uint64_t{0};
      take_rootless(first.trees, {0, end});
      if (sessions_.empty() && any(none.trees)) sessions_.push_back(std::move(none));
    }
    return std::move(sessions_);
  }

 private:
  void note_roots(const VolumeTrees& t) {
    for (const auto* volume : {&t.primary, &t.joliet, &t.enhanced}) {
      if (!*volume) continue;
      roots_.insert(root_position(**volume));
    }
  }

  Range region_of(std::size_t set) const {
    const std::uint64_t first = set == 0 ? 0 : sets_[set].start_lba * kSectorBytes;
    return {first, set + 1 < sets_.size() ? sets_[set + 1].start_lba * kSectorBytes : ~std::uint64_t{0}};
  }

  // ---- root directories that no descriptor names

  void take_roots() {
    for (const FrameDirectory& d : frame_->directories) {
      if (!d.is_root() || roots_.contains(d.position)) continue;
      const std::uint64_t lba = d.position / kSectorBytes;
      std::size_t set = sets_.size();
      for (std::size_t i = 0; i < sets_.size() && sets_[i].start_lba <= lba; ++i) set = i;
      if (set != sets_.size()) {
        const bool behind = lba >= space_end_lba(sets_[set]);
        if (!behind && sets_[set].incomplete && !trees_[set].of(d.kind)) {
          take(trees_[set].of(d.kind), d);
          continue;
        }
        if (!behind || set + 1 != sets_.size() || is_older(d, trees_[set])) continue;  // an earlier volume's
      } else if (!sets_.empty()) {
        continue;
      }
      take_session(d);
    }
  }

  void take_session(const FrameDirectory& d) {
    if (!sessions_.empty()) {
      auto& slot = sessions_.back().trees.of(d.kind);
      const bool of_one_date = !d.dated || !last_.dated || d.recorded_seconds == last_.recorded_seconds;
      if (!slot && of_one_date) return take(slot, d);
      if (d.dated && last_.dated && d.recorded_seconds < last_.recorded_seconds) return;
    }
    if (sessions_.size() == kMostSessions) return;
    LostSession session;
    const bool first = sets_.empty() && sessions_.empty();
    session.start_lba = first ? first_start() : d.position / kSectorBytes;
    sessions_.push_back(std::move(session));
    last_ = d;
    take(sessions_.back().trees.of(d.kind), d);
  }

  std::uint64_t first_start() const {
    return frame_->shift_bytes > 0 ? static_cast<std::uint64_t>(frame_->shift_bytes) / kSectorBytes : 0;
  }

  void take(std::optional<VolumeBasis>& slot, const FrameDirectory& root) {
    slot = basis_of_root(image_, *frame_, root);
    roots_.insert(root.position);
    findings_.add({Severity::kDoubt, "descriptor-lost", "volume descriptor", root.position / kSectorBytes,
                   "ECMA-119 8.4.18",
                   fmt::format("the descriptor of {} is lost; its tree is read from the root directory that was found",
                               root.kind == IdentifierKind::kUcs2 ? "a Joliet view" : "a view")});
  }

  /// Whether a root directory is older than those of a session.
  bool is_older(const FrameDirectory& root, const VolumeTrees& than) const {
    for (const auto* volume : {&than.primary, &than.joliet}) {
      if (!*volume) continue;
      const FrameDirectory* other = frame_->find(root_position(**volume));
      if (other != nullptr && other->dated && root.dated) return root.recorded_seconds < other->recorded_seconds;
    }
    return false;
  }

  // ---- views whose root is lost too

  void take_rootless(VolumeTrees& trees, Range region) {
    for (const IdentifierKind kind : {IdentifierKind::kBytes, IdentifierKind::kUcs2}) {
      auto& slot = trees.of(kind);
      if (slot) continue;
      if (take_path_table(slot, kind, region)) continue;
      if (frame_ != nullptr && any_directory(kind, region)) {
        slot = bare();
        findings_.add({Severity::kLoss, "root-lost", "root directory", std::nullopt, "ECMA-119 6.8.2",
                       "descriptor, path tables and root directory of a view are lost; what is left of its other "
                       "directories is among the orphans"});
      }
    }
  }

  VolumeBasis bare() const {
    VolumeBasis volume;
    volume.found = true;
    if (frame_ != nullptr) {
      volume.block_bytes = frame_->block_bytes;
      volume.shift_bytes = frame_->shift_bytes;
    }
    return volume;
  }

  /// A directory of this kind in the region whose tree is none of those known.
  bool any_directory(IdentifierKind kind, Range region) {
    if (!known_trees_) {
      known_trees_.emplace();
      for (const std::uint64_t root : roots_) {
        if (const FrameDirectory* d = frame_->find(root)) known_trees_->insert(d->tree);
      }
    }
    return std::ranges::any_of(frame_->directories, [&](const FrameDirectory& d) {
      return d.kind == kind && !d.is_root() && d.position >= region.first && d.position < region.end &&
             !known_trees_->contains(d.tree) && !roots_.contains(d.parent);
    });
  }

  /// The path table tells where the root was.
  bool take_path_table(std::optional<VolumeBasis>& slot, IdentifierKind kind, Range region) {
    const std::vector<Range> stored = frames_.stored_images(frame_ == nullptr ? 0 : frame_->shift_bytes);
    int left = kMostTables;
    for (const FoundPathTable& t : frames_.remains().path_tables()) {
      const bool fits = t.start && t.position >= region.first && t.position < region.end &&
                        (t.kind == kind || (t.kind == IdentifierKind::kUnknown && kind == IdentifierKind::kBytes));
      if (!fits ||
          std::ranges::any_of(stored, [&](const Range& r) { return r.first <= t.position && t.position < r.end; })) {
        continue;
      }
      if (left-- == 0) return false;
      VolumeBasis volume = bare();
      const std::uint64_t root = volume.at(t.root_block);
      if (roots_.contains(root)) continue;
      DirectoryRecord record;
      record.extent = {t.root_block, t.root_block};
      record.data_length = {kSectorBytes, kSectorBytes};
      record.flags = file_flag::kDirectory;
      record.length = kRootRecordBytes;
      volume.root = record;
      const bool confirmed = frame_ != nullptr && (frame_->names_as_parent(root) || frame_->find(root) != nullptr);
      if (!confirmed && PathTables(image_, volume, &frames_).directories().size() < kLeastPathRecords) continue;
      slot = volume;
      roots_.insert(root);
      findings_.add(
          {Severity::kLoss, "root-lost", "root directory", root / kSectorBytes, "ECMA-119 6.9.1",
           "descriptor and root directory of a view are lost; where the root was is known from a path table"});
      return true;
    }
    return false;
  }

  static constexpr int kMostTables = 64;
  static constexpr std::size_t kMostSessions = 64;

  const Image& image_;
  const Frames& frames_;
  const Frame* frame_;
  const std::vector<DescriptorSet>& sets_;
  std::vector<VolumeTrees>& trees_;
  Findings& findings_;
  std::unordered_set<std::uint64_t> roots_;  // byte addresses
  std::optional<std::unordered_set<std::uint32_t>> known_trees_;
  std::vector<LostSession> sessions_;
  FrameDirectory last_;  // the root that began the last of them
};

}  // namespace

VolumeBasis basis_of_root(const Image& image, const Frame& frame, const FrameDirectory& root) {
  VolumeBasis volume;
  volume.found = true;
  volume.block_bytes = frame.block_bytes;
  volume.shift_bytes = frame.shift_bytes;
  volume.root = read_self_record(image, root.position);
  return volume;
}

std::vector<LostSession> find_lost_views(const Image& image, const Frames& frames, const Frame* frame,
                                         const std::vector<DescriptorSet>& sets, std::vector<VolumeTrees>& trees,
                                         Findings& findings) {
  return Search(image, frames, frame, sets, trees, findings).run();
}

}  // namespace lacuna::iso9660
