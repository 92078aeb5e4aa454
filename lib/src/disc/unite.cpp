// SPDX-License-Identifier: GPL-3.0-or-later
// Strategy: (1) index base's files by first extent and stored length; (2) from the leaves up, let every file that lies
// at the same place in both trees vote for its parents being the same directory, and every such directory for its own;
// (3) from the root down, match directories by votes, then by name; files by place within the matched directory;
// what holds no data (empty files, symbolic links, empty directories) by name; (4) at last, files whose place one tree
// does not know with those of the same name that are left in the other. Orphans of one tree may be anything that lies
// where they do in the other, which then tells their names and place.
#include "disc/unite.h"

#include <algorithm>
#include <string>
#include <unordered_map>

#include "disc/unite_index.h"

namespace lacuna {
namespace {

void copy_details(Tree& to, NodeId id, const Tree& from, const Node& n) {
  if (n.details == 0) return;
  NodeDetails details = from.details(n);
  details.symlink_target = to.add_text(from.text(details.symlink_target));
  to.edit_details(id) = details;
}

class Uniter {
 public:
  Uniter(Tree& base, const Tree& other, Findings& findings)
      : base_(base), other_(other), findings_(findings), base_count_(base.size()), by_place_(base.size()) {
    places_.reserve(base_count_);
    for (NodeId a = 0; a < base_count_; ++a) {
      places_.push_back(place_of(base_, base_.node(a)));
      const Node& n = base_.node(a);
      if (n.has(node_flag::kDeleted)) continue;
      if (places_[a].bytes != 0) by_place_.add(places_[a].position, a);
      base_lost_ = base_lost_ || is_lost(base_, n);
    }
    claimed_.resize(base_count_);
    result_.agreed.resize(base_count_);
    result_.base_ids.assign(other_.size(), kNoNode);
  }

  UniteResult run() {
    order_ = other_.parents_first();
    vote();
    dissolve_root_among_orphans();
    claim(kRoot, kRoot);
    for (const NodeId b : order_) {
      const Node& n = other_.node(b);
      if (is_root_among_orphans(b)) {
        result_.base_ids[b] = kRoot;
        continue;
      }
      const NodeId parent = result_.base_ids[n.parent];
      if (n.has(node_flag::kDeleted)) {
        copy(b, parent);
        continue;
      }
      const NodeId a = n.is_directory() ? find_directory(b, parent) : find_file(b, parent);
      if (a != kNoNode && take_from_orphans(a, b, parent)) {
        claim(b, a);
      } else if (n.kind == NodeKind::kFile && (base_lost_ || is_lost(other_, n))) {
        left_.push_back(b);
      } else {
        copy(b, parent);
      }
    }
    match_lost();
    return std::move(result_);
  }

 private:
  // Hostile trees repeat one name or place without end; real ones seldom more than a few times in a directory.
  static constexpr int kMostCandidates = 2048;

  // Majority vote (Boyer and Moore 1981): one candidate and a count a directory, whatever their number.
  struct Ballot {
    NodeId candidate = kNoNode;
    std::uint32_t count = 0;
    void cast(NodeId a) {
      if (count == 0) candidate = a;
      candidate == a ? ++count : --count;
    }
  };

  void vote() {
    ballots_.resize(other_.size());
    for (auto at = order_.rbegin(); at != order_.rend(); ++at) {
      const NodeId b = *at;
      const Node& n = other_.node(b);
      if (n.has(node_flag::kDeleted) || is_orphan(other_, b)) continue;
      if (n.is_directory()) {
        if (const NodeId a = ballots_[b].candidate; a != kNoNode && a != kRoot) cast(n.parent, a);
        continue;
      }
      const Place place = place_of(other_, n);
      if (place.bytes == 0) continue;
      NodeId only = kNoNode;
      for (NodeId a = by_place_.first(place.position); a != kNoNode; a = by_place_.next(a)) {
        if (places_[a] != place) continue;
        if (only != kNoNode) {  // several files share the extent: no vote
          only = kNoNode;
          break;
        }
        only = a;
      }
      if (only != kNoNode) cast(n.parent, only);
    }
  }

  /// A root directory that its own tree knows only as the parent of others is an orphan there. What holds the same as
  /// the other tree's root is the root.
  void dissolve_root_among_orphans() {
    const NodeId a = ballots_[kRoot].candidate;
    if (a == kNoNode || a == kRoot || !is_orphan(base_, a) || !base_.node(a).has(node_flag::kNameMade)) return;
    for (NodeId child = 1; child < base_count_; ++child) {
      if (base_.node(child).parent == a) base_.move(child, kRoot);
    }
    base_.unlink(a);
  }
  bool is_root_among_orphans(NodeId b) const {
    return ballots_[b].candidate == kRoot && is_orphan(other_, b) && other_.node(b).has(node_flag::kNameMade);
  }

  /// A vote for `directory` of other being the parent of `a`.
  void cast(NodeId directory, NodeId a) {
    const NodeId parent = base_.node(a).parent;
    if (parent != kNoNode && !is_orphan(base_, a)) ballots_[directory].cast(parent);
  }

  static bool is_orphan(const Tree& tree, NodeId id) {
    const NodeId parent = tree.node(id).parent;
    return parent != kNoNode && tree.node(parent).has(node_flag::kOrphans);
  }

  bool may_claim(NodeId a, NodeId parent) const {
    return a < base_count_ && !claimed_[a] && base_.node(a).parent == parent && !base_.node(a).has(node_flag::kDeleted);
  }

  /// Whether `a` may be `b`, whose parent is `parent`: it hangs there too, or one of the two has lost its parent.
  bool may_be(NodeId a, NodeId b, NodeId parent) const {
    return a < base_count_ && may_claim(a, is_orphan(base_, a) || is_orphan(other_, b) ? base_.node(a).parent : parent);
  }

  /// An orphan of base whose parent is known now goes there. Gives false when that can't be.
  bool take_from_orphans(NodeId a, NodeId b, NodeId parent) {
    if (base_.node(a).parent == parent || is_orphan(other_, b)) return true;
    if (!base_.move(a, parent)) return false;
    base_.edit(a).evidence = other_.node(b).evidence;
    return true;
  }

  NodeId find_directory(NodeId b, NodeId parent) {
    const NodeId a = ballots_[b].candidate;
    if (a != kNoNode && a != kRoot && may_be(a, b, parent) && base_.node(a).is_directory()) return a;
    return find_by_name(b, parent);
  }

  NodeId find_file(NodeId b, NodeId parent) {
    const Place place = place_of(other_, other_.node(b));
    if (place.bytes == 0) return find_by_name(b, parent);
    NodeId best = kNoNode;
    int best_likeness = -1;
    int left = kMostCandidates;
    for (NodeId a = by_place_.first(place.position); a != kNoNode && left-- > 0; a = by_place_.next(a)) {
      if (places_[a].position != place.position || !may_be(a, b, parent)) continue;
      if (base_.node(a).parent != parent && places_[a].bytes != place.bytes) continue;
      const int names = names_alike(a, b);
      int likeness = 2 * names + (base_.node(a).parent == parent ? 1 : 0);
      if (places_[a].bytes == place.bytes) {
        likeness += 8;
      } else if (names == 0) {
        continue;  // neither name nor length in common
      }
      if (likeness > best_likeness) {
        best = a;
        best_likeness = likeness;
      }
    }
    if (best == kNoNode) {
      if (!is_lost(other_, other_.node(b))) note_same_name_elsewhere(b, parent);
    } else if (places_[best].bytes == place.bytes) {
      result_.agreed[best] = true;
    } else {
      disagree(best, b,
               "the views disagree on its length: " + std::to_string(places_[best].bytes) + " and " +
                   std::to_string(place.bytes) + " bytes");
    }
    return best;
  }

  // 2: some view's name is the same; 1: the same when squeezed into d-characters; 0: not.
  int names_alike(NodeId a, NodeId b) const {
    const Node& x = base_.node(a);
    const Node& y = other_.node(b);
    for (const TextRef p : x.names) {
      for (const TextRef q : y.names) {
        if (p.length != 0 && p.length == q.length && base_.text(p) == other_.text(q)) return 2;
      }
    }
    const std::string squeezed_b = squeezed(other_.name(y));
    for (const TextRef p : x.names) {
      if (p.length != 0 && squeezed(base_.text(p)) == squeezed_b) return 1;
    }
    return 0;
  }

  // For what holds no data. Exact names first, then squeezed ones, then the only one of that kind and date whose name
  // begins alike (writers cut and number names in ways of their own).
  NodeId find_by_name(NodeId b, NodeId parent) {
    index_names();
    const Node& n = other_.node(b);
    const auto fits = [&](NodeId a) {
      return may_claim(a, parent) && places_[a].bytes == 0 && base_.node(a).is_directory() == n.is_directory() &&
             is_likely(a, b);
    };
    NodeId alike = kNoNode;
    int left = kMostCandidates;
    for (auto [it, end] = by_name_.equal_range(name_key(parent, squeezed(other_.name(n)))); it != end && left-- > 0;
         ++it) {
      if (!fits(it->second)) continue;
      const int likeness = names_alike(it->second, b);
      if (likeness == 2) return it->second;
      if (likeness == 1 && alike == kNoNode) alike = it->second;
    }
    if (alike != kNoNode) return alike;

    if (!n.modified.known) return kNoNode;
    left = kMostCandidates;
    const std::string begin = squeezed(other_.name(n)).substr(0, 3);
    for (auto [it, end] = by_date_.equal_range(date_key(parent, n.modified)); it != end; ++it) {
      if (left-- == 0) return kNoNode;
      const NodeId a = it->second;
      if (!fits(a) || base_.node(a).modified != n.modified) continue;
      if (squeezed(base_.name(base_.node(a))).substr(0, 3) != begin) continue;
      if (alike != kNoNode) return kNoNode;  // not the only one
      alike = a;
    }
    return alike;
  }

  static std::uint64_t name_key(NodeId parent, std::string_view squeezed_name) {
    return mixed(parent) ^ std::hash<std::string_view>{}(squeezed_name);
  }
  static std::uint64_t date_key(NodeId parent, const Timestamp& t) {
    return mixed(parent) ^ mixed(static_cast<std::uint64_t>(t.seconds) + 1);
  }

  // Built when the first node without data is met: many discs have none.
  void index_names() {
    if (names_indexed_) return;
    names_indexed_ = true;
    for (NodeId a = 1; a < base_count_; ++a) {
      const Node& n = base_.node(a);
      if (places_[a].bytes != 0 || n.parent == kNoNode) continue;
      std::vector<std::uint64_t> keys;
      for (const TextRef name : n.names) {
        if (name.length == 0) continue;
        const std::uint64_t key = name_key(n.parent, squeezed(base_.text(name)));
        if (std::find(keys.begin(), keys.end(), key) == keys.end()) keys.push_back(key);
      }
      for (const std::uint64_t key : keys) by_name_.emplace(key, a);
      by_date_.emplace(date_key(n.parent, n.modified), a);
    }
  }

  // A file of the same full name in the same directory, but elsewhere on the disc: one of the two views is wrong.
  void note_same_name_elsewhere(NodeId b, NodeId parent) {
    index_file_names();
    const Node& n = other_.node(b);
    int left = kMostCandidates;
    for (auto [it, end] = by_file_name_.equal_range(name_key(parent, other_.name(n))); it != end && left-- > 0; ++it) {
      const NodeId a = it->second;
      if (!may_claim(a, parent) || names_alike(a, b) != 2 || is_lost(base_, base_.node(a))) continue;
      disagree(a, b,
               "the views disagree on where it lies: LBA " + std::to_string(places_[a].position / kSectorBytes) +
                   " and " + std::to_string(place_of(other_, n).position / kSectorBytes));
      doubted_copies_.insert_or_assign(b, "another view has a file of this name elsewhere on the disc");
      return;
    }
  }

  void index_file_names() {
    if (file_names_indexed_) return;
    file_names_indexed_ = true;
    for (NodeId a = 1; a < base_count_; ++a) {
      const Node& n = base_.node(a);
      if (places_[a].bytes != 0 && n.parent != kNoNode) by_file_name_.emplace(name_key(n.parent, base_.name(n)), a);
    }
  }

  // The files of `other` that found no partner, against those of base that are left: exact names, else those that are
  // the only ones of their name as squeezed, on either side. Where both are located they are two files, and where none
  // is, names have matched them before.
  void match_lost() {
    if (left_.empty()) return;
    std::unordered_multimap<std::uint64_t, NodeId> base_names;
    for (NodeId a = 1; a < base_count_; ++a) {
      const Node& n = base_.node(a);
      if (n.kind == NodeKind::kFile && n.parent != kNoNode && may_claim(a, n.parent)) {
        base_names.emplace(name_key(n.parent, squeezed(base_.name(n))), a);
      }
    }
    const auto key_of = [&](NodeId b) {
      const Node& n = other_.node(b);
      return name_key(result_.base_ids[n.parent], squeezed(other_.name(n)));
    };
    std::unordered_map<std::uint64_t, std::uint32_t> same;  // how many of left_
    for (const NodeId b : left_) ++same[key_of(b)];
    for (const NodeId b : left_) {
      const NodeId parent = result_.base_ids[other_.node(b).parent];
      NodeId alike = kNoNode;
      int candidates = 0;
      int left = kMostCandidates;
      const std::uint64_t key = key_of(b);
      for (auto [it, end] = base_names.equal_range(key); it != end && left-- > 0; ++it) {
        const NodeId a = it->second;
        const bool both_or_none = is_lost(base_, base_.node(a)) == is_lost(other_, other_.node(b));
        if (!may_claim(a, parent) || both_or_none || !is_likely(a, b)) continue;
        const int likeness = names_alike(a, b);
        if (likeness == 0) continue;
        alike = a;
        candidates = likeness == 2 ? 1 : candidates + 1;
        if (likeness == 2) break;
        if (same[key] > 1) candidates = 2;
      }
      if (candidates == 1) {
        note_located(alike, b);
        claim(b, alike);
      } else {
        copy(b, parent);
      }
    }
  }

  // Two sizes that are known must be the same where places say nothing.
  bool is_likely(NodeId a, NodeId b) const {
    const Node& x = base_.node(a);
    const Node& y = other_.node(b);
    return x.size == y.size || x.has(node_flag::kUnlocated) || y.has(node_flag::kUnlocated) ||
           x.kind != NodeKind::kFile || y.kind != NodeKind::kFile;
  }

  void note_located(NodeId a, NodeId b) {
    const bool in_base = !is_lost(base_, base_.node(a));
    const View knows = in_base ? base_.node(a).view : other_.node(b).view;
    const View lost = in_base ? other_.node(b).view : base_.node(a).view;
    findings_.add({Severity::kNote, "located-by-other-view", std::string(other_.name(other_.node(b))),
                   (in_base ? places_[a] : place_of(other_, other_.node(b))).position / kSectorBytes, "",
                   "where it lies is lost in one view (" + std::string(to_string(lost)) + ") and taken from another (" +
                       std::string(to_string(knows)) + ")"});
  }

  /// base's node, which does not know its place, gets that of `other`, and what else makes its content.
  void take_place(NodeId a, NodeId b) {
    const Node& n = other_.node(b);
    Node& united = base_.edit(a);
    united.flags = static_cast<std::uint16_t>(united.flags & ~node_flag::kUnlocated);
    united.kind = n.kind;
    united.size = n.size;
    united.extent_count = 0;
    base_.add_extents(a, other_.extents(n));
    if (united.details == 0) copy_details(base_, a, other_, n);
    places_[a] = place_of(base_, base_.node(a));
  }

  void disagree(NodeId a, NodeId b, std::string text) {
    const bool both_iso = base_.node(a).view != View::kUdf && other_.node(b).view != View::kUdf;
    findings_.add({Severity::kDoubt, "views-disagree", std::string(base_.name(base_.node(a))),
                   places_[a].position / kSectorBytes, both_iso ? "ECMA-119 8.5" : "",
                   text + " (" + std::string(to_string(base_.node(a).view)) + ", " +
                       std::string(to_string(other_.node(b).view)) + ")"});
    base_.add_doubt(a, std::move(text));
  }

  void add_names(NodeId a, const Node& n) {
    // A name that was made for want of one gives way to any that is recorded.
    if (n.has(node_flag::kNameMade)) return;
    if (base_.node(a).has(node_flag::kNameMade)) {
      base_.edit(a).names = {};
      base_.edit(a).flags &= static_cast<std::uint16_t>(~node_flag::kNameMade);
    }
    for (std::size_t v = 0; v < kViewCount; ++v) {
      if (n.names[v].length != 0 && base_.node(a).names[v].length == 0) {
        base_.edit(a).names[v] = base_.add_text(other_.text(n.names[v]));
      }
    }
  }

  void claim(NodeId b, NodeId a) {
    claimed_[a] = true;
    result_.base_ids[b] = a;
    const Node& n = other_.node(b);
    add_names(a, n);
    Node& united = base_.edit(a);
    const std::uint16_t hurt = node_flag::kIncomplete | node_flag::kUnread;
    if (united.is_directory() && !n.has(hurt)) united.flags &= static_cast<std::uint16_t>(~hurt);
    if (united.is_directory() && !n.has(node_flag::kUnread) && united.has(node_flag::kUnread)) {
      united.flags = static_cast<std::uint16_t>((united.flags & ~node_flag::kUnread) | node_flag::kIncomplete);
    }
    if (!united.modified.known) united.modified = n.modified;
    if (is_lost(base_, united)) {
      if (!is_lost(other_, n) && (united.has(node_flag::kUnlocated) || n.size == united.size)) take_place(a, b);
    } else if (is_lost(other_, n)) {
      return;  // doubts of a place that is not known say nothing of the one that is
    }
    for (std::string& doubt : other_.doubts(b)) base_.add_doubt(a, std::move(doubt));
  }

  void copy(NodeId b, NodeId parent) {
    const NodeId a = copy_node(base_, parent, other_, b);
    result_.base_ids[b] = a;
    result_.agreed.push_back(false);
    if (const auto it = doubted_copies_.find(b); it != doubted_copies_.end()) base_.add_doubt(a, it->second);
  }

  Tree& base_;
  const Tree& other_;
  Findings& findings_;
  std::size_t base_count_;     // nodes of base before anything was added
  std::vector<Place> places_;  // by id in base
  NodeIndex by_place_;         // key: first extent's position
  std::vector<bool> claimed_;
  std::vector<NodeId> order_;    // of other, parents first
  std::vector<Ballot> ballots_;  // by id in other
  std::unordered_multimap<std::uint64_t, NodeId> by_name_, by_date_, by_file_name_;
  bool names_indexed_ = false, file_names_indexed_ = false;
  bool base_lost_ = false;    // whether base has files that it can't locate
  std::vector<NodeId> left_;  // files of other without a partner, while one tree can't locate some
  std::unordered_map<NodeId, std::string> doubted_copies_;
  UniteResult result_;
};

}  // namespace

UniteResult unite(Tree& base, const Tree& other, Findings& findings) { return Uniter(base, other, findings).run(); }

NodeId copy_node(Tree& to, NodeId parent, const Tree& from, NodeId id) {
  Node n = from.node(id);
  for (TextRef& name : n.names) {
    if (name.length != 0) name = to.add_text(from.text(name));
  }
  n.first_extent = n.extent_count = 0;
  n.details = 0;
  const NodeId copy = to.add_child(parent, n);
  to.add_extents(copy, from.extents(from.node(id)));
  copy_details(to, copy, from, from.node(id));
  if (const RawContent* raw = from.raw_content(id); raw != nullptr) to.set_raw_content(copy, *raw);
  for (std::string& doubt : from.doubts(id)) to.add_doubt(copy, std::move(doubt));
  return copy;
}

void choose_views(Tree& tree, View best) {
  for (NodeId id = 1; id < tree.size(); ++id) {
    Node& n = tree.edit(id);
    for (std::size_t v = 0; v < kViewCount; ++v) {
      if (n.names[v].length == 0) continue;
      n.view = static_cast<View>(v);
      break;
    }
    if (n.view != best && n.evidence == Evidence::kTree && !n.has(node_flag::kBoot)) n.evidence = Evidence::kView;
    if (n.view == best && n.evidence == Evidence::kView) n.evidence = Evidence::kTree;
  }
}

}  // namespace lacuna
