// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/overlaps.h"

#include <algorithm>
#include <iterator>
#include <string>
#include <tuple>
#include <unordered_set>

#include "salvage/gaps.h"

namespace lacuna {
namespace {

using Kind = JudgedDoubt::Kind;

JudgedDoubt make_doubt(NodeId node, Kind kind, std::uint32_t partner, std::uint64_t first, std::uint64_t end) {
  return {node, kind, partner, first / kSectorBytes, (end - 1) / kSectorBytes};
}

/// Goes over the pieces in groups of equal position.
class FileSweep {
 public:
  FileSweep(const Tree& tree, std::span<const FilePiece> pieces, std::vector<JudgedDoubt>& out)
      : tree_(tree), pieces_(pieces), out_(out) {}

  void run(std::span<const std::uint32_t> order) {
    constexpr std::size_t kAhead = 16;  // files in another order than on the disc: ask for their pieces early
    for (std::size_t at = 0; at < order.size();) {
      if (at + kAhead < order.size()) __builtin_prefetch(&pieces_[order[at + kAhead]]);
      std::size_t end = at + 1;
      while (end < order.size() && pieces_[order[end]].position == pieces_[order[at]].position) ++end;
      const auto group = order.subspan(at, end - at);
      compare_starts(group);
      compare_neighbours(group, end < order.size() ? &pieces_[order[end]] : nullptr);
      at = end;
    }
  }

 private:
  // A piece overlaps one that starts before it exactly when the furthest end so far lies behind its start, and one
  // that starts after it exactly when the next start lies before its end.
  void compare_neighbours(std::span<const std::uint32_t> group, const FilePiece* next) {
    for (const std::uint32_t i : group) {
      const FilePiece& p = pieces_[i];
      if (furthest_ != nullptr && furthest_->end() > p.position) {
        add(p, Kind::kSharesSectors, *furthest_);
      } else if (next != nullptr && next->position < p.end()) {
        add(p, Kind::kSharesSectors, *next);
      }
    }
    const FilePiece& longest = pieces_[group.back()];
    if (furthest_ == nullptr || longest.end() > furthest_->end()) furthest_ = &longest;
  }

  void compare_starts(std::span<const std::uint32_t> group) {
    const FilePiece& first = pieces_[group.front()];
    const auto odd =
        std::find_if(group.begin() + 1, group.end(), [&](std::uint32_t i) { return !same_content(first, pieces_[i]); });
    if (odd == group.end()) return;
    for (const std::uint32_t i : group) {
      const FilePiece& p = pieces_[i];
      add(p, Kind::kSameStart, i == group.front() || same_content(first, p) ? pieces_[*odd] : first);
    }
  }

  bool same_content(const FilePiece& a, const FilePiece& b) const {
    const Node& x = tree_.node(a.node);
    const Node& y = tree_.node(b.node);
    return a.node != b.node && a.bytes == b.bytes && a.offset == b.offset && x.size == y.size &&
           x.extent_count == y.extent_count;
  }

  void add(const FilePiece& p, Kind kind, const FilePiece& with) {
    out_.push_back(make_doubt(p.node, p.node == with.node ? Kind::kSharesSectors : kind, with.node,
                              std::max(p.position, with.position), std::min(p.end(), with.end())));
  }

  const Tree& tree_;
  std::span<const FilePiece> pieces_;
  std::vector<JudgedDoubt>& out_;
  const FilePiece* furthest_ = nullptr;
};

/// Structures that no file may lie on. Not so the metadata file, which holds what is embedded in the file entries in it
/// (UDF 2.2.13), and what ISO 9660 lists as files too.
bool contradicts_files(StructureKind kind) noexcept {
  switch (kind) {
    case StructureKind::kVolumeDescriptor:
    case StructureKind::kPathTable:
    case StructureKind::kDirectory:
    case StructureKind::kAnchor:
    case StructureKind::kIntegrity:
    case StructureKind::kFileSet:
    case StructureKind::kAllocationExtent:
    case StructureKind::kVirtualTable:
    case StructureKind::kSparingTable:
    case StructureKind::kSpaceMap:
      return true;
    case StructureKind::kFileEntry:  // but for what is embedded in it: see below
    case StructureKind::kMetadataFile:
    case StructureKind::kContinuationArea:
    case StructureKind::kBootCatalog:
    case StructureKind::kExtendedAttributes:
      return false;
  }
  return false;
}

struct UsedBytes {
  std::uint64_t first, end;
  std::uint32_t structure;
};

/// Holds the pieces against the structures of kinds that `wanted` takes; `allowed` says of a piece and the furthest
/// reaching structure at it that they go together.
template <class Wanted, class Allowed>
void find_structure_overlaps(const Disc& disc, std::span<const FilePiece> pieces, std::span<const std::uint32_t> order,
                             std::vector<JudgedDoubt>& out, Wanted&& wanted, Allowed&& allowed) {
  std::vector<UsedBytes> used;
  for (std::size_t i = 0; i < disc.structures().size(); ++i) {
    const Structure& s = disc.structures()[i];
    if (s.bytes == 0 || !wanted(s.kind)) continue;
    used.push_back({s.position, saturating_add(s.position, s.bytes), static_cast<std::uint32_t>(i)});
  }
  const auto by_first = [](const UsedBytes& a, const UsedBytes& b) { return a.first < b.first; };
  if (!std::is_sorted(used.begin(), used.end(), by_first)) std::sort(used.begin(), used.end(), by_first);
  if (used.empty()) return;
  // furthest[i]: which of used[0..i] ends last. Any of them reaches into a piece exactly when that one does.
  std::vector<std::size_t> furthest(used.size());
  for (std::size_t i = 1; i < used.size(); ++i) {
    furthest[i] = used[i].end > used[furthest[i - 1]].end ? i : furthest[i - 1];
  }
  for (const std::uint32_t index : order) {
    const FilePiece& p = pieces[index];
    const auto behind = std::lower_bound(used.begin(), used.end(), p.end(),
                                         [](const UsedBytes& u, std::uint64_t at) { return u.first < at; });
    if (behind == used.begin()) continue;
    const UsedBytes& u = used[furthest[static_cast<std::size_t>(behind - used.begin()) - 1]];
    if (u.end <= p.position || allowed(p, u)) continue;
    out.push_back(make_doubt(p.node, Kind::kSharesStructure, u.structure, std::max(p.position, u.first),
                             std::min(p.end(), u.end)));
  }
}

/// The ids below each folder that holds an earlier state of a volume, ascending.
std::vector<Range> earlier_states(const Disc& disc) {
  std::unordered_set<std::string> folders;
  std::size_t shown = 0;
  for (const Session& s : disc.sessions()) {
    if (!s.in_tree) continue;
    ++shown;
    if (s.source == SessionSource::kTable) folders.insert("session-" + std::to_string(s.number));
  }
  std::vector<Range> states;
  if (shown < 2 || folders.empty()) return states;
  const Tree& tree = disc.tree();
  for (NodeId id = tree.node(kRoot).first_child; id != kNoNode; id = tree.node(id).next_sibling) {
    const NodeId next = tree.node(id).next_sibling;
    if (folders.contains(std::string(tree.name(tree.node(id))))) {
      states.push_back({id, next == kNoNode ? tree.size() : next});
    }
  }
  return states;
}

/// Compares the files of each state of the disc with each other.
void find_file_overlaps(const Disc& disc, std::span<const FilePiece> pieces, std::span<const std::uint32_t> order,
                        std::vector<JudgedDoubt>& out) {
  const std::vector<Range> states = earlier_states(disc);
  if (states.empty()) return FileSweep(disc.tree(), pieces, out).run(order);
  std::vector<std::vector<std::uint32_t>> orders(states.size() + 1);  // the last: what is in none of them
  for (const std::uint32_t i : order) {
    const NodeId node = pieces[i].node;
    const auto state =
        std::partition_point(states.begin(), states.end(), [&](const Range& r) { return r.end <= node; });
    const bool inside = state != states.end() && state->first <= node;
    orders[inside ? static_cast<std::size_t>(state - states.begin()) : states.size()].push_back(i);
  }
  for (const auto& own : orders) FileSweep(disc.tree(), pieces, out).run(own);
}

}  // namespace

std::vector<JudgedDoubt> find_overlaps(const Disc& disc, std::span<const FilePiece> pieces,
                                       std::span<const std::uint32_t> order, std::span<const NodeId> aside) {
  std::vector<std::uint32_t> rest;
  if (!aside.empty()) {
    std::copy_if(order.begin(), order.end(), std::back_inserter(rest),
                 [&](std::uint32_t i) { return !std::binary_search(aside.begin(), aside.end(), pieces[i].node); });
    order = rest;
  }
  std::vector<JudgedDoubt> doubts;
  find_file_overlaps(disc, pieces, order, doubts);
  find_structure_overlaps(disc, pieces, order, doubts, contradicts_files,
                          [](const FilePiece&, const UsedBytes&) { return false; });
  find_structure_overlaps(
      disc, pieces, order, doubts, [](StructureKind k) { return k == StructureKind::kFileEntry; },
      [](const FilePiece& p, const UsedBytes& u) { return p.position > u.first && p.end() <= u.end; });
  const auto key = [](const JudgedDoubt& d) { return std::tuple(d.node, d.kind); };
  std::stable_sort(doubts.begin(), doubts.end(),
                   [&](const JudgedDoubt& a, const JudgedDoubt& b) { return key(a) < key(b); });
  doubts.erase(std::unique(doubts.begin(), doubts.end(),
                           [&](const JudgedDoubt& a, const JudgedDoubt& b) { return key(a) == key(b); }),
               doubts.end());
  return doubts;
}

}  // namespace lacuna
