// SPDX-License-Identifier: GPL-3.0-or-later
// Judging goes over flat arrays: the pieces of all files, sorted once by position, are walked beside the runs of sector
// states, so that each piece knows where its runs begin; then each file's pieces are held against them in file order.
#include <algorithm>
#include <thread>

#include "disc/raw_content.h"
#include "lacuna/verdict.h"
#include "salvage/gaps.h"
#include "salvage/overlaps.h"
#include "salvage/pieces.h"
#include "salvage/raw_states.h"
#include "salvage/stored_reader.h"
#include "salvage/uniform_fill.h"
#include "salvage/zisofs_blocks.h"

namespace lacuna {
namespace {

bool is_whole_sectors(const Tree& tree, const FilePiece& p) { return tree.node(p.node).has(node_flag::kRawSectors); }

/// The sectors that those pieces touch which `wanted` takes.
template <class Wanted>
RangeSet touched_sectors(std::span<const FilePiece> pieces, std::span<const std::uint32_t> order, Wanted&& wanted) {
  std::vector<Range> touched;
  for (const std::uint32_t i : order) {
    if (!wanted(pieces[i])) continue;
    const Range r{pieces[i].position / kSectorBytes, (pieces[i].end() - 1) / kSectorBytes + 1};
    if (!touched.empty() && r.first <= touched.back().end) {
      touched.back().end = std::max(touched.back().end, r.end);
    } else {
      touched.push_back(r);
    }
  }
  return RangeSet::from_unsorted(std::move(touched));
}

/// The sectors of which something is known that speaks against them.
RangeSet unsound_sectors(const Image& image) {
  std::vector<Range> known;
  const SectorMap states = image.states();
  for (const SectorRun& run : states.runs()) {
    if (!is_sound(run.state)) known.push_back({run.first, run.end()});
  }
  return RangeSet::from_unsorted(std::move(known));
}

}  // namespace

class Judge {
 public:
  Judge(const Disc& disc, const JudgeOptions& options)
      : disc_(disc), tree_(disc.tree()), image_(disc.image()), options_(options) {}

  Result<Verdicts> run() {
    PieceList list = collect_pieces(tree_, byte_window(image_));
    pieces_ = std::move(list.pieces);
    zeros_ = std::move(list.zeros);
    whole_sectors_ = list.whole_sectors;
    const LargeVector<std::uint32_t> order = by_position(pieces_);
    if (options_.look_inside && !image_.has_map()) {
      if (Result<Done> looked = look_inside(order); !looked) return looked.error();
    }
    if (whole_sectors_) {
      raw_states_ = whole_sector_states(
          image_, touched_sectors(pieces_, order, [&](const FilePiece& p) { return is_whole_sectors(tree_, p); }));
    }
    out_.states_ = image_.states();
    if (image_.raw() != nullptr) data_states_ = image_.data_states();
    out_.basis_ = image_.basis();
    find_first_runs(order);
    overlaps_ = find_overlaps(disc_, pieces_, order, list.aside);
    untaken_ = std::move(list.untaken);
    // Files that share extents may each meet all the runs of the disc; beyond this many, gaps are merged.
    budget_ = (std::uint64_t{1} << 20) + 4 * (pieces_.size() + out_.states_.runs().size());
    // Compressed files over the same bytes must not make the same tables be read without end.
    table_budget_ = (std::uint64_t{64} << 20) + 2 * byte_window(image_).length();
    out_.gaps_.reserve(std::min(pieces_.size(), out_.states_.runs().size() / 2));
    judge_all();
    return std::move(out_);
  }

 private:
  using Kind = JudgedDoubt::Kind;
  static constexpr std::size_t kAhead = 16;  // how far ahead memory that is read in random order is asked for

  Result<Done> look_inside(std::span<const std::uint32_t> order) {
    const unsigned threads = options_.threads != 0 ? options_.threads : std::thread::hardware_concurrency();
    // Silence is no sign of damage.
    const auto is_wanted = [&](const FilePiece& p) {
      if (options_.look_only_into && !options_.look_only_into(p.node)) return false;
      return !whole_sectors_ || !is_whole_sectors(tree_, p);
    };
    RangeSet wanted = touched_sectors(pieces_, order, is_wanted).minus(unsound_sectors(image_));
    if (image_.raw() != nullptr) wanted = wanted.intersected(image_.unproven());
    Result<RangeSet> found = find_uniform_fill(image_, wanted, threads, options_.progress);
    if (!found) return found.error();
    if (!found->empty()) image_.learn(*found, SectorState::kSuspect);
    return Done{};
  }

  /// The states of whole sectors, or of user data.
  std::span<const SectorRun> runs_of(bool raw) const {
    if (raw) return raw_states_.runs();
    return image_.raw() != nullptr ? data_states_.runs() : out_.states_.runs();
  }

  void find_first_runs(std::span<const std::uint32_t> order) {
    std::size_t plain_run = 0, raw_run = 0;
    for (std::size_t k = 0; k < order.size(); ++k) {
      if (k + kAhead < order.size()) __builtin_prefetch(&pieces_[order[k + kAhead]]);
      const std::uint32_t i = order[k];
      const std::uint64_t lba = pieces_[i].position / kSectorBytes;
      const bool raw = whole_sectors_ && is_whole_sectors(tree_, pieces_[i]);
      std::size_t& run = raw ? raw_run : plain_run;
      run = gallop_to_end_after(runs_of(raw), run, lba);
      pieces_[i].first_run = static_cast<std::uint32_t>(run);
    }
  }

  void judge_all() {
    out_.verdicts_.resize(tree_.size());
    for (NodeId id = 0; id < tree_.size(); ++id) {
      const Node& n = tree_.node(id);
      Verdict& v = out_.verdicts_[id];
      v.basis = out_.basis_;
      v.first_gap = static_cast<std::uint32_t>(out_.gaps_.size());
      if (n.is_directory()) {
        judge_directory(n, v);
      } else {
        judge_file(id, n, v);
      }
    }
  }

  void judge_directory(const Node& n, Verdict& v) {
    if (n.has(node_flag::kUnread)) {
      v.state = n.first_child == kNoNode ? FileState::kLost : FileState::kDamaged;
    } else if (n.has(node_flag::kIncomplete)) {
      v.state = FileState::kDamaged;
    }
    if (v.state != FileState::kWhole) ++out_.hurt_directories_;
  }

  static FileState file_state(const Node& n, const Verdict& v, bool doubted) {
    if (n.has(node_flag::kUnlocated)) return FileState::kUnlocated;
    if (v.missing_bytes != 0) return v.missing_bytes == disc_bytes(n) ? FileState::kLost : FileState::kDamaged;
    return v.suspect_bytes != 0 || doubted ? FileState::kDoubtful : FileState::kWhole;
  }

  void judge_file(NodeId id, const Node& n, Verdict& v) {
    const std::size_t doubts_before = out_.doubts_.size();
    gaps_.clear();
    merged_ = false;
    gather_doubts(id, n);
    if (n.has(node_flag::kUnlocated)) {
      append_gap(gaps_, 0, n.size, SectorState::kAbsent);
    } else if (n.kind == NodeKind::kFile && n.size != 0) {
      const bool raw = n.has(node_flag::kRawSectors);
      const bool compressed = !raw && is_compressed(tree_, n);
      gather_stored_gaps(id, raw || compressed ? stored_bytes(tree_, n) : n.size, runs_of(raw));
      if (compressed) turn_into_plain_gaps(id, n);
      if (raw) turn_into_raw_gaps();
    } else {
      skip_pieces(id);
    }
    v.basis = basis_of(n);
    for (const Gap& g : gaps_) (has_bytes(g.state) ? v.suspect_bytes : v.missing_bytes) += g.length;
    v.gap_count = static_cast<std::uint32_t>(gaps_.size());
    out_.gaps_.insert(out_.gaps_.end(), gaps_.begin(), gaps_.end());

    v.state = file_state(n, v, out_.doubts_.size() != doubts_before || tree_.has_doubts(id));
    StateCount& count = out_.counts_[static_cast<std::size_t>(v.state)];
    ++count.files;
    count.bytes += n.size;
    count.missing_bytes += v.missing_bytes;
  }

  /// The weakest of the file's sectors.
  Basis basis_of(const Node& n) const {
    const RangeSet& unproven = image_.unproven();
    if (out_.basis_ == Basis::kEdc || image_.raw() == nullptr) return out_.basis_;
    bool proven = true;
    for (const Extent& e : tree_.extents(n)) {
      for_each_piece(e, [&](std::uint64_t position, std::uint64_t bytes) {
        proven = !unproven.intersects({position / kSectorBytes, (position + bytes - 1) / kSectorBytes + 1});
        return proven;
      });
      if (!proven) return image_.unproven_basis();
    }
    return Basis::kEdc;
  }

  void add_doubt(NodeId id, Kind kind) { out_.doubts_.push_back({id, kind, 0, 0, 0}); }

  /// What speaks against the file's place and size, whatever its sectors hold.
  void gather_doubts(NodeId id, const Node& n) {
    for (; next_overlap_ < overlaps_.size() && overlaps_[next_overlap_].node <= id; ++next_overlap_) {
      out_.doubts_.push_back(overlaps_[next_overlap_]);
    }
    if (next_untaken_ < untaken_.size() && untaken_[next_untaken_] == id) {
      add_doubt(id, Kind::kTooManyPieces);
      ++next_untaken_;
    }
    if (n.kind != NodeKind::kFile) return;
    if (n.has(node_flag::kSizeGuessed)) {
      add_doubt(id, Kind::kSizeGuessed);
    } else if (!n.has(node_flag::kUnlocated | node_flag::kBoot) && is_stored_plain(tree_, n)) {
      std::uint64_t recorded = 0;
      for (const Extent& e : tree_.extents(n)) recorded = saturating_add(recorded, e.bytes);
      if (recorded > n.size) add_doubt(id, Kind::kExtentsTooLong);
    }
  }

  void skip_pieces(NodeId id) {
    while (next_piece_ < pieces_.size() && pieces_[next_piece_].node == id) ++next_piece_;
    while (next_zeros_ < zeros_.size() && zeros_[next_zeros_].node == id) ++next_zeros_;
  }

  /// Appends to gaps_. When the disc's gaps are too many to keep, a gap swallows the good bytes between it and the
  /// next: less is promised, never more.
  void add_gap(NodeId id, std::uint64_t offset, std::uint64_t length, SectorState state) {
    if (length == 0) return;
    if (out_.gaps_.size() + gaps_.size() < budget_ || gaps_.empty()) {
      append_gap(gaps_, offset, length, state);
      return;
    }
    tell_merged(id);
    Gap& last = gaps_.back();
    last = {last.offset, offset + length - last.offset, std::max(last.state, state)};
  }

  void tell_merged(NodeId id) {
    if (!merged_) add_doubt(id, Kind::kGapsMerged);
    merged_ = true;
  }

  /// What no piece covers lies outside the image or nowhere, unless it was never recorded.
  void add_uncovered(NodeId id, std::uint64_t from, std::uint64_t to) {
    for (; next_zeros_ < zeros_.size() && zeros_[next_zeros_].node == id && zeros_[next_zeros_].offset < to;
         ++next_zeros_) {
      const ZeroStretch& z = zeros_[next_zeros_];
      add_gap(id, from, z.offset - from, SectorState::kAbsent);
      from = z.end();
    }
    add_gap(id, from, to - from, SectorState::kAbsent);
  }

  /// Fills gaps_ for the file's `bytes` as stored. `runs` are those that find_first_runs() took for it.
  void gather_stored_gaps(NodeId id, std::uint64_t bytes, std::span<const SectorRun> runs) {
    std::uint64_t covered = 0;
    for (; next_piece_ < pieces_.size() && pieces_[next_piece_].node == id; ++next_piece_) {
      const FilePiece& p = pieces_[next_piece_];
      add_uncovered(id, covered, p.offset);
      covered = p.offset + p.bytes;
      // Files in another order than on the disc make the runs a random read each.
      if (next_piece_ + kAhead < pieces_.size() && pieces_[next_piece_ + kAhead].first_run < runs.size()) {
        __builtin_prefetch(runs.data() + pieces_[next_piece_ + kAhead].first_run);
      }
      gather_piece_gaps(id, p, runs);
    }
    add_uncovered(id, covered, bytes);
  }

  /// The image lists the state of each of its sectors, and pieces lie inside it.
  void gather_piece_gaps(NodeId id, const FilePiece& p, std::span<const SectorRun> runs) {
    const std::uint64_t end_lba = (p.end() - 1) / kSectorBytes + 1;
    for (std::size_t r = p.first_run; r < runs.size() && runs[r].first < end_lba; ++r) {
      const std::uint64_t first = std::max(runs[r].first * kSectorBytes, p.position);
      std::uint64_t end = std::min(runs[r].end() * kSectorBytes, p.end());
      SectorState state = runs[r].state;
      if (++visited_ > budget_ && end != p.end()) {
        // All that is left of the piece at once, so that time is bounded like memory.
        tell_merged(id);
        end = p.end();
        state = SectorState::kAbsent;
        r = runs.size() - 1;
      }
      if (!is_sound(state)) add_gap(id, p.offset + (first - p.position), end - first, state);
    }
  }

  /// gaps_ of the stored bytes become those of whole sectors, of which each that lacks a byte is lost.
  void turn_into_raw_gaps() {
    const std::vector<Gap> stored_gaps = std::move(gaps_);
    gaps_.clear();
    for (const Gap& g : stored_gaps) {
      const std::uint64_t done = gaps_.empty() ? 0 : gaps_.back().offset + gaps_.back().length;
      const std::uint64_t first = std::max(raw_begin(g.offset), done);
      const std::uint64_t end = raw_end(g.offset + g.length);
      if (first < end) append_gap(gaps_, first, end - first, g.state);
    }
  }

  /// gaps_ of the stored bytes become those of the decoded ones: a hole loses the blocks that it touches.
  void turn_into_plain_gaps(NodeId id, const Node& n) {
    const std::vector<Gap> stored_gaps = std::move(gaps_);
    gaps_.clear();
    const Zisofs& facts = *tree_.details(n).zisofs;
    const std::uint64_t table_bytes = ZisofsBlocks::table_bytes(facts, n.size);
    if (table_bytes == 0 || table_bytes > table_budget_) {
      add_doubt(id, Kind::kZisofsUnusable);
      append_gap(gaps_, 0, n.size, SectorState::kBad);
      return;
    }
    StoredReader stored(image_, tree_.extents(n), ~std::uint64_t{0});
    table_budget_ -= std::min(table_bytes, stored.size());
    const ZisofsBlocks blocks(stored, facts, n.size);
    if (blocks.header() == ZisofsHeader::kNoMagic) add_doubt(id, Kind::kZisofsNoMagic);
    if (blocks.header() == ZisofsHeader::kDisagrees) add_doubt(id, Kind::kZisofsHeader);
    if (!blocks.table_consistent()) add_doubt(id, Kind::kZisofsTable);
    for (std::uint64_t i = 0; i < blocks.count(); ++i) {
      const ZisofsBlocks::Block b = blocks.block(i);
      const SectorState state =
          has_bytes(b.pointers) ? std::max(b.pointers, worst_within(stored_gaps, b.first, b.end)) : b.pointers;
      if (!is_sound(state)) add_gap(id, i * blocks.block_bytes(), blocks.plain_bytes_of(i), state);
    }
  }

  SectorState worst_within(const std::vector<Gap>& gaps, std::uint64_t first, std::uint64_t end) {
    SectorState worst = SectorState::kGood;
    if (first >= end) return worst;
    auto g = std::partition_point(gaps.begin(), gaps.end(), [&](const Gap& x) { return x.offset + x.length <= first; });
    for (; g != gaps.end() && g->offset < end; ++g) {
      worst = ++visited_ > budget_ ? SectorState::kAbsent : std::max(worst, g->state);
      if (worst == SectorState::kAbsent) break;
    }
    return worst;
  }

  const Disc& disc_;
  const Tree& tree_;
  const Image& image_;
  const JudgeOptions& options_;
  Verdicts out_;
  LargeVector<FilePiece> pieces_;
  LargeVector<ZeroStretch> zeros_;
  bool whole_sectors_ = false;         // whether any file's content is
  SectorMap raw_states_;               // for such files
  SectorMap data_states_;              // for all others, when the image has whole sectors
  std::vector<JudgedDoubt> overlaps_;  // by node, like the next
  std::vector<NodeId> untaken_;
  std::size_t next_piece_ = 0;
  std::size_t next_zeros_ = 0;
  std::size_t next_overlap_ = 0;
  std::size_t next_untaken_ = 0;
  std::vector<Gap> gaps_;  // of the file being judged
  bool merged_ = false;    // whether it has merged gaps
  std::uint64_t visited_ = 0;
  std::uint64_t budget_ = 0;  // of gaps and of visits
  std::uint64_t table_budget_ = 0;
};

Result<Verdicts> judge(const Disc& disc, const JudgeOptions& options) { return Judge(disc, options).run(); }

std::vector<Gap> Verdicts::missing(const Verdict& v) const {
  std::vector<Gap> missing;
  for (const Gap& g : gaps(v)) {
    if (!has_bytes(g.state)) missing.push_back(g);
  }
  return missing;
}

}  // namespace lacuna
