// SPDX-License-Identifier: GPL-3.0-or-later
// Judging goes over flat arrays: the pieces of all files, sorted once by position, are walked beside the runs of hurt
// bytes, so that each piece knows where its runs begin; then each file's pieces are held against them in file order.
#include <algorithm>
#include <thread>

#include "lacuna/verdict.h"
#include "salvage/gaps.h"
#include "salvage/overlaps.h"
#include "salvage/pieces.h"
#include "salvage/stored_reader.h"
#include "salvage/uniform_fill.h"
#include "salvage/zisofs_blocks.h"

namespace lacuna {
namespace {

/// Bytes of the disc in one state that is not sound.
struct HurtRun {
  std::uint64_t first = 0;
  std::uint64_t end = 0;
  SectorState state = SectorState::kBad;
};

std::vector<HurtRun> hurt_runs(const SectorMap& states, const Image& image) {
  const Range window = byte_window(image);
  std::vector<HurtRun> hurt;
  for (const SectorRun& run : states.slice(image.first_lba(), image.end_lba())) {
    if (is_sound(run.state)) continue;
    const std::uint64_t end = std::min(run.end() * kSectorBytes, window.end);
    if (run.first * kSectorBytes < end) hurt.push_back({run.first * kSectorBytes, end, run.state});
  }
  return hurt;
}

/// The sectors that pieces touch and of which nothing is known yet.
RangeSet sectors_to_look_at(std::span<const FilePiece> pieces, std::span<const std::uint32_t> order,
                            const Image& image) {
  std::vector<Range> touched;
  for (const std::uint32_t i : order) {
    const Range r{pieces[i].position / kSectorBytes, (pieces[i].end() - 1) / kSectorBytes + 1};
    if (!touched.empty() && r.first <= touched.back().end) {
      touched.back().end = std::max(touched.back().end, r.end);
    } else {
      touched.push_back(r);
    }
  }
  std::vector<Range> known;
  for (const SectorRun& run : image.states().slice(image.first_lba(), image.end_lba())) {
    if (!is_sound(run.state)) known.push_back({run.first, run.end()});
  }
  return RangeSet::from_unsorted(std::move(touched)).minus(RangeSet::from_unsorted(std::move(known)));
}

}  // namespace

class Judge {
 public:
  Judge(const Disc& disc, const JudgeOptions& options)
      : disc_(disc), tree_(disc.tree()), image_(disc.image()), options_(options) {}

  Result<Verdicts> run() {
    PieceList list = collect_pieces(tree_, byte_window(image_));
    pieces_ = std::move(list.pieces);
    const std::vector<std::uint32_t> order = by_position(pieces_);
    if (options_.look_inside && !image_.has_map()) {
      if (Result<Done> looked = look_inside(order); !looked) return looked.error();
    }
    out_.states_ = image_.states();
    out_.basis_ = image_.basis();
    hurt_ = hurt_runs(out_.states_, image_);
    find_first_runs(order);
    out_.doubts_ = find_overlaps(disc_, pieces_, order);
    for (const NodeId id : list.untaken) add_doubt(id, JudgedDoubt::Kind::kTooManyPieces);
    gather_content_doubts();
    // Files that share extents may each have all the gaps of the disc; beyond this many, gaps are merged.
    gap_budget_ = (std::size_t{1} << 20) + 4 * (pieces_.size() + hurt_.size());
    // Compressed files over the same bytes must not make the same tables be read without end.
    table_budget_ = (std::uint64_t{64} << 20) + 2 * byte_window(image_).length();
    judge_all();
    return std::move(out_);
  }

 private:
  using Kind = JudgedDoubt::Kind;

  Result<Done> look_inside(std::span<const std::uint32_t> order) {
    const unsigned threads = options_.threads != 0 ? options_.threads : std::thread::hardware_concurrency();
    Result<RangeSet> found =
        find_uniform_fill(image_, sectors_to_look_at(pieces_, order, image_), threads, options_.progress);
    if (!found) return found.error();
    if (!found->empty()) image_.learn(*found, SectorState::kSuspect);
    return Done{};
  }

  void find_first_runs(std::span<const std::uint32_t> order) {
    std::size_t run = 0;
    for (const std::uint32_t i : order) {
      run = gallop_to_end_after(std::span<const HurtRun>(hurt_), run, pieces_[i].position);
      pieces_[i].first_run = static_cast<std::uint32_t>(run);
    }
  }

  void add_doubt(NodeId id, Kind kind) { out_.doubts_.push_back({id, kind, 0, 0, 0}); }

  /// Doubts that a node's facts alone bring up.
  void gather_content_doubts() {
    for (NodeId id = 1; id < tree_.size(); ++id) {
      const Node& n = tree_.node(id);
      if (n.kind != NodeKind::kFile) continue;
      if (n.has(node_flag::kSizeGuessed)) {
        add_doubt(id, Kind::kSizeGuessed);
      } else if (!is_compressed(tree_, n) && !n.has(node_flag::kUnlocated | node_flag::kBoot)) {
        std::uint64_t recorded = 0;
        for (const Extent& e : tree_.extents(n)) recorded = saturating_add(recorded, e.bytes);
        if (recorded > n.size) add_doubt(id, Kind::kExtentsTooLong);
      }
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
        continue;
      }
      judge_file(id, n, v);
    }
    std::stable_sort(out_.doubts_.begin(), out_.doubts_.end(), [](const JudgedDoubt& a, const JudgedDoubt& b) {
      return a.node != b.node ? a.node < b.node : a.kind < b.kind;
    });
    // A file's own state needs its doubts complete.
    std::size_t next_doubt = 0;
    for (NodeId id = 1; id < tree_.size(); ++id) {
      const std::size_t before = next_doubt;
      while (next_doubt < out_.doubts_.size() && out_.doubts_[next_doubt].node == id) ++next_doubt;
      const Node& n = tree_.node(id);
      if (n.is_directory()) continue;
      Verdict& v = out_.verdicts_[id];
      v.state = file_state(n, v, next_doubt != before || tree_.has_doubts(id));
      StateCount& count = out_.counts_[static_cast<std::size_t>(v.state)];
      ++count.files;
      count.bytes += n.size;
      count.missing_bytes += v.missing_bytes;
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
    if (v.missing_bytes != 0) return v.missing_bytes == n.size ? FileState::kLost : FileState::kDamaged;
    return v.suspect_bytes != 0 || doubted ? FileState::kDoubtful : FileState::kWhole;
  }

  void judge_file(NodeId id, const Node& n, Verdict& v) {
    gaps_.clear();
    merged_ = false;
    if (n.has(node_flag::kUnlocated)) {
      append_gap(gaps_, 0, n.size, SectorState::kAbsent);
    } else if (n.kind == NodeKind::kFile && n.size != 0) {
      const bool compressed = is_compressed(tree_, n);
      gather_stored_gaps(id, compressed ? stored_bytes(tree_, n) : n.size);
      if (compressed) turn_into_plain_gaps(id, n);
    } else {
      skip_pieces(id);
    }
    for (const Gap& g : gaps_) (has_bytes(g.state) ? v.suspect_bytes : v.missing_bytes) += g.length;
    v.gap_count = static_cast<std::uint32_t>(gaps_.size());
    out_.gaps_.insert(out_.gaps_.end(), gaps_.begin(), gaps_.end());
  }

  void skip_pieces(NodeId id) {
    while (next_piece_ < pieces_.size() && pieces_[next_piece_].node == id) ++next_piece_;
  }

  /// Appends to gaps_. When the disc's gaps are too many to keep, a gap swallows the good bytes between it and the
  /// next: less is promised, never more.
  void add_gap(NodeId id, std::uint64_t offset, std::uint64_t length, SectorState state) {
    if (length == 0) return;
    if (!over_budget() || gaps_.empty()) {
      append_gap(gaps_, offset, length, state);
      return;
    }
    Gap& last = gaps_.back();
    if (!merged_) add_doubt(id, Kind::kGapsMerged);
    merged_ = true;
    last = {last.offset, offset + length - last.offset, std::max(last.state, state)};
  }

  bool over_budget() const noexcept { return out_.gaps_.size() + gaps_.size() >= gap_budget_; }

  /// Fills gaps_ for the file's `bytes` as stored. What no piece covers lies outside the image or nowhere.
  void gather_stored_gaps(NodeId id, std::uint64_t bytes) {
    std::uint64_t covered = 0;
    for (; next_piece_ < pieces_.size() && pieces_[next_piece_].node == id; ++next_piece_) {
      const FilePiece& p = pieces_[next_piece_];
      add_gap(id, covered, p.offset - covered, SectorState::kAbsent);
      covered = p.offset + p.bytes;
      gather_piece_gaps(id, p);
    }
    add_gap(id, covered, bytes - covered, SectorState::kAbsent);
  }

  void gather_piece_gaps(NodeId id, const FilePiece& p) {
    for (std::size_t r = p.first_run; r < hurt_.size() && hurt_[r].first < p.end(); ++r) {
      const std::uint64_t first = std::max(hurt_[r].first, p.position);
      std::uint64_t end = std::min(hurt_[r].end, p.end());
      SectorState state = hurt_[r].state;
      if (over_budget()) {
        // All the piece's further runs at once, so that time is bounded like memory.
        const auto behind = std::partition_point(hurt_.begin() + static_cast<std::ptrdiff_t>(r), hurt_.end(),
                                                 [&](const HurtRun& h) { return h.first < p.end(); });
        const auto last = static_cast<std::size_t>(behind - hurt_.begin()) - 1;
        if (last != r) {
          end = std::min(hurt_[last].end, p.end());
          state = SectorState::kAbsent;  // the worst that any of them can be
          if (!merged_) add_doubt(id, Kind::kGapsMerged);
          merged_ = true;
          r = last;
        }
      }
      add_gap(id, p.offset + (first - p.position), end - first, state);
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

  static SectorState worst_within(const std::vector<Gap>& gaps, std::uint64_t first, std::uint64_t end) {
    SectorState worst = SectorState::kGood;
    if (first >= end) return worst;
    auto g = std::partition_point(gaps.begin(), gaps.end(), [&](const Gap& x) { return x.offset + x.length <= first; });
    for (; g != gaps.end() && g->offset < end; ++g) worst = std::max(worst, g->state);
    return worst;
  }

  const Disc& disc_;
  const Tree& tree_;
  const Image& image_;
  const JudgeOptions& options_;
  Verdicts out_;
  std::vector<FilePiece> pieces_;
  std::vector<HurtRun> hurt_;
  std::vector<Gap> gaps_;  // of the file being judged
  bool merged_ = false;    // whether it has merged gaps
  std::size_t next_piece_ = 0;
  std::size_t gap_budget_ = 0;
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
