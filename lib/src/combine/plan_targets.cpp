// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/plan_targets.h"

#include <algorithm>
#include <string>

#include "salvage/gaps.h"
#include "salvage/pieces.h"
#include "salvage/raw_states.h"

namespace lacuna::combine {
namespace {

bool is_raw(const Node& n) { return n.has(node_flag::kRawSectors); }

Range lbas_of(std::uint64_t position, std::uint64_t end) {
  return {position / kSectorBytes, (end - 1) / kSectorBytes + 1};
}

class TargetFinder {
 public:
  TargetFinder(const Disc& disc, const Verdicts& verdicts, const PlanOptions& options, ToRead& to_read,
               std::uint32_t block_sectors)
      : disc_(disc),
        tree_(disc.tree()),
        verdicts_(verdicts),
        options_(options),
        to_read_(to_read),
        block_(block_sectors) {}

  TargetList run() {
    for (StructureNeed& s : structures_worth(disc_, verdicts_, to_read_, options_.skip, out_.left.structures_known)) {
      Target t;
      t.reason = PlanReason::kStructure;
      t.weight = s.what.names;
      t.subject = static_cast<std::uint32_t>(out_.structures.size());
      out_.structures.push_back(std::move(s.what));
      add(t, s.lbas);
    }
    find_files();
    out_.sectors_outside = RangeSet::from_unsorted(std::move(outside_)).total();
    return std::move(out_);
  }

 private:
  void find_files() {
    pieces_ = collect_pieces(tree_, byte_window(disc_.image()), true);
    // Files that claim the same sectors may each meet all of the disc's damage.
    budget_ = (std::size_t{1} << 20) + 4 * (pieces_.pieces.size() + to_read_.inside().ranges().size());
    if (pieces_.whole_sectors) look_at_whole_sectors();
    std::size_t piece = 0, outside = 0, untaken = 0;
    std::vector<Range> lbas;
    for (NodeId id = 1; id < tree_.size(); ++id) {
      const std::size_t first_piece = piece, first_outside = outside;
      while (piece < pieces_.pieces.size() && pieces_.pieces[piece].node == id) ++piece;
      while (outside < pieces_.outside.size() && pieces_.outside[outside].node == id) ++outside;
      while (untaken < pieces_.untaken.size() && pieces_.untaken[untaken] < id) ++untaken;
      const Verdict& v = verdicts_.of(id);
      const Node& n = tree_.node(id);
      if (n.is_directory() || v.missing_bytes + v.suspect_bytes == 0) {
        if (v.state == FileState::kUnlocated && !n.is_directory()) ++out_.left.files_unplaced;
        continue;
      }
      if (untaken < pieces_.untaken.size() && pieces_.untaken[untaken] == id) {
        ++out_.left.files_tangled;
        continue;
      }
      if (is_skipped(id)) {
        ++out_.left.files_skipped;
        continue;
      }
      if (!has_whole_place(n)) {
        ++out_.left.files_unplaced;
        continue;
      }
      lbas.clear();
      bool inside_medium = true;
      for (std::size_t i = first_outside; i < outside; ++i) {
        const OutsidePart& p = pieces_.outside[i];
        inside_medium &= to_read_.collect(lbas_of(p.position, p.end), is_raw(n), lbas);
      }
      for (std::size_t i = first_piece; i < piece && lbas.size() <= budget_; ++i) {
        const FilePiece& p = pieces_.pieces[i];
        to_read_.collect(lbas_of(p.position, p.end()), is_raw(n), lbas);
      }
      add_file(id, lbas, inside_medium);
    }
  }

  void add_file(NodeId id, std::vector<Range>& lbas, bool inside_medium) {
    if (!inside_medium) {
      ++out_.left.files_outside;
      return;
    }
    if (lbas.empty()) {  // such as compressed content that does not decode
      ++out_.left.files_unplaced;
      return;
    }
    if (lbas.size() > budget_) {
      ++out_.left.files_tangled;
      return;
    }
    budget_ -= lbas.size();
    Target t;
    t.reason = is_wanted(id) ? PlanReason::kWanted : PlanReason::kFile;
    t.stays_doubtful = verdicts_.stays_doubtful(disc_, id);
    t.weight = t.stays_doubtful ? kFileWeight / 2 : kFileWeight;
    t.subject = id;
    add(t, lbas);
  }

  void add(Target t, std::vector<Range>& lbas) {
    const Range image = to_read_.image();
    for (Range& r : lbas) {
      out_.last_lba_end = std::max(out_.last_lba_end, r.end);
      if (r.first < image.first) outside_.push_back({r.first, std::min(r.end, image.first)});
      if (r.end > image.end) outside_.push_back({std::max(r.first, image.end), r.end});
      r = {r.first / block_, (r.end - 1) / block_ + 1};
    }
    const RangeSet blocks = RangeSet::from_unsorted(lbas);
    t.first_need = static_cast<std::uint32_t>(out_.needs.size());
    t.need_count = static_cast<std::uint32_t>(blocks.ranges().size());
    out_.needs.insert(out_.needs.end(), blocks.ranges().begin(), blocks.ranges().end());
    out_.targets.push_back(t);
  }

  bool is_skipped(NodeId id) const { return !options_.skip.empty() && options_.skip.matches(tree_.path(id)); }

  bool is_wanted(NodeId id) const {
    if (!options_.want_kinds.empty()) {
      const FileKind kind = file_kind(tree_.name(tree_.node(id)));
      if (std::ranges::find(options_.want_kinds, kind) != options_.want_kinds.end()) return true;
    }
    return !options_.want.empty() && options_.want.matches(tree_.path(id));
  }

  /// False when bytes of it lie where nobody knows, or its extents hold fewer than it has.
  bool has_whole_place(const Node& n) const {
    if (n.has(node_flag::kUnlocated)) return false;
    std::uint64_t bytes = 0;
    for (const Extent& e : tree_.extents(n)) {
      if (e.position == kNowhere && e.bytes != 0) return false;
      bytes = saturating_add(bytes, e.bytes);
    }
    return !is_stored_plain(tree_, n) || bytes >= n.size;
  }

  /// Only for files that are not whole: those of the others are known to be there.
  void look_at_whole_sectors() {
    std::vector<Range> lbas;
    for (const FilePiece& p : pieces_.pieces) {
      const Verdict& v = verdicts_.of(p.node);
      if (is_raw(tree_.node(p.node)) && v.missing_bytes + v.suspect_bytes != 0) {
        lbas.push_back(lbas_of(p.position, p.end()));
      }
    }
    to_read_.set_whole_sectors(whole_sector_states(disc_.image(), RangeSet::from_unsorted(std::move(lbas))));
  }

  const Disc& disc_;
  const Tree& tree_;
  const Verdicts& verdicts_;
  const PlanOptions& options_;
  ToRead& to_read_;
  const std::uint32_t block_;
  PieceList pieces_;
  std::size_t budget_ = 0;  // of ranges
  std::vector<Range> outside_;
  TargetList out_;
};

}  // namespace

TargetList find_targets(const Disc& disc, const Verdicts& verdicts, const PlanOptions& options, ToRead& to_read,
                        std::uint32_t block_sectors) {
  return TargetFinder(disc, verdicts, options, to_read, block_sectors).run();
}

}  // namespace lacuna::combine
