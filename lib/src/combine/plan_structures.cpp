// SPDX-License-Identifier: GPL-3.0-or-later
// What structures that can't be read are worth: how many files they would name or place that nothing else does. The
// numbers are estimates; docs/plan has the rules.
#include <algorithm>
#include <array>
#include <map>

#include "combine/plan_targets.h"
#include "salvage/gaps.h"

namespace lacuna::combine {
namespace {

// Names in a sector of a directory, when the disc itself tells no number: of 2048 bytes, records of about 100 each.
constexpr std::uint64_t kUsualNames = 20;
// No sector holds more: a record has at least 34 bytes (ECMA-119 9.1).
constexpr std::uint64_t kMostNames = kSectorBytes / 34;
// ECMA-119 6.2.1: descriptors begin behind the system area; ECMA-167 3/8.4.2.1: anchors at 256, N - 256 and N.
constexpr std::uint64_t kFirstDescriptor = 16, kAnchor = 256;
constexpr std::uint64_t kDescriptors = 4;  ///< Looked at: primary, supplementary, enhanced and boot, in any order.

std::uint64_t sectors(std::uint64_t position, std::uint64_t bytes) {
  return bytes == 0 ? 0 : (saturating_add(position, bytes) - 1) / kSectorBytes + 1 - position / kSectorBytes;
}

class StructureFinder {
 public:
  StructureFinder(const Disc& disc, const Verdicts& verdicts, const ToRead& to_read, const GlobSet& skip,
                  std::uint64_t& known)
      : disc_(disc), tree_(disc.tree()), verdicts_(verdicts), to_read_(to_read), skip_(skip), known_(known) {}

  std::vector<StructureNeed> run() {
    look_at_tree();
    look_at_structures();
    directories();
    others();
    descriptors();
    return std::move(out_);
  }

 private:
  static constexpr std::size_t kKinds = static_cast<std::size_t>(StructureKind::kSpaceMap) + 1;

  static std::size_t index(StructureKind k) { return static_cast<std::size_t>(k); }
  static std::size_t index(View v) { return static_cast<std::size_t>(v); }

  std::vector<Range> missing(const Structure& s) const {
    std::vector<Range> lbas;
    const std::uint64_t first = s.position / kSectorBytes;
    to_read_.collect({first, first + sectors(s.position, s.bytes)}, false, lbas);
    return lbas;
  }

  void look_at_tree() {
    children_.resize(tree_.size());
    for (NodeId id = 1; id < tree_.size(); ++id) {
      const Node& n = tree_.node(id);
      ++children_[n.parent];
      directories_ += n.is_directory();
      for (std::size_t v = 0; v < names_.size(); ++v) names_[v] += n.names[v].length != 0;
      unlocated_ += n.has(node_flag::kUnlocated) && !n.is_directory();
      found_by_scan_ += n.evidence == Evidence::kScan && !n.is_directory();
      if (!n.is_directory() && verdicts_.of(id).state == FileState::kDoubtful && verdicts_.of(id).suspect_bytes == 0) {
        ++doubted_;
      }
      if (n.has(node_flag::kOrphans)) orphans_ = id;
    }
    if (orphans_ != kNoNode) orphan_count_ = children_[orphans_];
  }

  /// How many sectors of directories each view has that can be read, and of which kinds another copy can be.
  void look_at_structures() {
    for (const Structure& s : disc_.structures()) {
      const bool sound = missing(s).empty();
      if (s.kind == StructureKind::kDirectory && sound) {
        directory_sectors_[index(s.view)] += sectors(s.position, s.bytes);
      }
      if (sound) copies_.at(index(s.kind))[index(s.view)] = true;
    }
  }

  /// What a sector of a directory of this view names, as the disc's own directories have it.
  std::uint64_t names_a_sector(View v) const {
    // Rock Ridge names stand in the directories of the primary tree.
    const bool primary = v == View::kIso9660 || v == View::kRockRidge;
    const auto of = [primary, v](const std::array<std::uint64_t, kViewCount>& counts) {
      return primary ? std::max(counts[index(View::kIso9660)], counts[index(View::kRockRidge)]) : counts[index(v)];
    };
    const std::uint64_t all = of(directory_sectors_), names = of(names_);
    return all == 0 || names == 0 ? kUsualNames : std::clamp<std::uint64_t>((names + all / 2) / all, 1, kMostNames);
  }

  /// What a directory holds of which nothing is known.
  std::uint64_t names_a_directory() const {
    return directories_ == 0 ? kUsualNames : std::max<std::uint64_t>(1, (tree_.size() - 1) / (directories_ + 1));
  }

  bool is_skipped(NodeId id) const {
    return id != kNoNode && id != kRoot && !skip_.empty() && skip_.matches(tree_.path(id));
  }

  void add(const Structure& s, std::vector<Range> lbas, std::uint64_t names) {
    if (lbas.empty() || names == 0 || is_skipped(s.node)) return;
    out_.push_back({{s, names}, std::move(lbas)});
  }

  /// A directory's sectors each name files of their own. Of one that is hurt in several views the cheapest counts in
  /// full and the others, which would tell the same, as one name a stretch.
  void directories() {
    std::map<NodeId, std::uint64_t> cheapest;
    const auto cost = [](const LostDirectory& d) { return d.missing_lbas.total(); };
    for (const LostDirectory& d : disc_.lost_directories()) {
      const auto [at, added] = cheapest.emplace(d.node, cost(d));
      if (!added) at->second = std::min(at->second, cost(d));
    }
    for (const LostDirectory& d : disc_.lost_directories()) {
      const Structure s{StructureKind::kDirectory, d.view, d.position, d.bytes, d.node, {}};
      std::vector<Range> lbas;
      for (const Range& r : d.missing_lbas.ranges()) to_read_.collect(r, false, lbas);
      if (lbas.empty()) continue;
      if (d.node != kNoNode && verdicts_.of(d.node).state == FileState::kWhole) {
        ++known_;
        continue;
      }
      std::uint64_t& least = cheapest[d.node];
      const bool in_full = d.node == kNoNode || cost(d) == least;
      if (in_full && d.node != kNoNode) least = 0;  // and no other of the same cost
      add_directory(s, lbas, in_full ? expected_names(d, lbas) : 0);
    }
  }

  /// One each stretch, so that a directory can be read in part.
  void add_directory(const Structure& s, const std::vector<Range>& lbas, std::uint64_t names) {
    const std::uint64_t all = std::max<std::uint64_t>(1, total(lbas));
    for (const Range& r : lbas) {
      const auto share = static_cast<std::uint64_t>(
          static_cast<long double>(names) * static_cast<long double>(r.length()) / static_cast<long double>(all));
      add(s, {r}, std::max<std::uint64_t>(1, share));
    }
  }

  static std::uint64_t total(const std::vector<Range>& lbas) {
    std::uint64_t sum = 0;
    for (const Range& r : lbas) sum += r.length();
    return sum;
  }

  std::uint64_t expected_names(const LostDirectory& d, const std::vector<Range>& lbas) const {
    if (d.icb_position && *d.icb_position == d.position)
      return names_a_directory();  // the entry: its size is not known
    const std::uint64_t rate = names_a_sector(d.view);
    const std::uint64_t in_all = sectors(d.position, d.bytes) * rate;
    const std::uint64_t known = d.node == kNoNode ? 0 : children_[d.node];
    const std::uint64_t lost = std::min(total(lbas) * rate, in_all > known ? in_all - known : 0);
    return std::max<std::uint64_t>(1, lost);
  }

  void others() {
    std::array<std::uint64_t, kViewCount> lost{};
    for (const LostDirectory& d : disc_.lost_directories()) {
      if (d.node == kNoNode || verdicts_.of(d.node).state != FileState::kWhole) ++lost[index(d.view)];
    }
    for (const Structure& s : disc_.structures()) {
      if (s.kind == StructureKind::kDirectory) continue;
      std::vector<Range> lbas = missing(s);
      if (lbas.empty()) continue;
      const std::uint64_t names = worth(s, lost);
      if (names == 0) ++known_;
      add(s, std::move(lbas), names);
    }
  }

  std::uint64_t worth(const Structure& s, const std::array<std::uint64_t, kViewCount>& lost) const {
    const bool copied = copies_.at(index(s.kind))[index(s.view)];
    switch (s.kind) {
      case StructureKind::kFileEntry:
      case StructureKind::kAllocationExtent:
        return s.node != kNoNode && !tree_.node(s.node).is_directory() && lacks_place(tree_.node(s.node)) ? 1 : 0;
      case StructureKind::kContinuationArea:
        return s.node != kNoNode && tree_.has_doubts(s.node) ? 1 : 0;
      case StructureKind::kBootCatalog:
        return 1;
      case StructureKind::kPathTable:  // L and M and their doubles say the same
        return copied ? 0 : lost[index(s.view)] + orphan_count_;
      case StructureKind::kSparingTable:  // while any copy can't be read, all others may be older
        return doubted_;
      case StructureKind::kVolumeDescriptor:
      case StructureKind::kAnchor:
      case StructureKind::kFileSet:
      case StructureKind::kVirtualTable:
      case StructureKind::kMetadataFile:
        return copied && s.kind != StructureKind::kVirtualTable ? 0 : unlocated_ + orphan_count_;
      case StructureKind::kDirectory:
      case StructureKind::kExtendedAttributes:
      case StructureKind::kIntegrity:
      case StructureKind::kSpaceMap:
        break;
    }
    return 0;
  }

  bool lacks_place(const Node& n) const {
    return n.has(node_flag::kUnlocated) ||
           std::ranges::any_of(tree_.extents(n), [](const Extent& e) { return e.position == kNowhere; });
  }

  /// Where descriptors should stand when none that leads to the tree was read: all that only the scan found rests on
  /// them.
  void descriptors() {
    const std::uint64_t names = found_by_scan_ + orphan_count_;
    for (const Session& s : disc_.sessions()) {
      if (s.in_tree && (s.source == SessionSource::kScan || s.volumes.empty())) descriptors_of(s.start_lba, names);
    }
  }

  void descriptors_of(std::uint64_t start, std::uint64_t names) {
    const std::uint64_t end = to_read_.image().end;
    const auto place = [&](StructureKind kind, View view, Range lbas, const char* label) {
      std::vector<Range> there;
      to_read_.collect(lbas, false, there);
      const Structure s{kind, view, lbas.first * kSectorBytes, lbas.length() * kSectorBytes, kNoNode, label};
      add(s, std::move(there), std::max<std::uint64_t>(1, names));
    };
    place(StructureKind::kVolumeDescriptor, View::kIso9660,
          {start + kFirstDescriptor, start + kFirstDescriptor + kDescriptors}, "place of volume descriptors");
    for (const std::uint64_t lba : {start + kAnchor, end > start + 2 * kAnchor ? end - 1 - kAnchor : end, end - 1}) {
      if (lba < end) place(StructureKind::kAnchor, View::kUdf, {lba, lba + 1}, "place of an anchor");
    }
  }

  const Disc& disc_;
  const Tree& tree_;
  const Verdicts& verdicts_;
  const ToRead& to_read_;
  const GlobSet& skip_;
  std::uint64_t& known_;
  std::vector<std::uint64_t> children_;
  std::array<std::uint64_t, kViewCount> names_{}, directory_sectors_{};
  std::array<std::array<bool, kViewCount>, kKinds> copies_{};
  std::uint64_t directories_ = 0, unlocated_ = 0, found_by_scan_ = 0, doubted_ = 0, orphan_count_ = 0;
  NodeId orphans_ = kNoNode;
  std::vector<StructureNeed> out_;
};

}  // namespace

std::vector<StructureNeed> structures_worth(const Disc& disc, const Verdicts& verdicts, const ToRead& to_read,
                                            const GlobSet& skip, std::uint64_t& known) {
  return StructureFinder(disc, verdicts, to_read, skip, known).run();
}

}  // namespace lacuna::combine
