// SPDX-License-Identifier: GPL-3.0-or-later
// Hits: structures and file pieces are claims on the disc's bytes; sorted once, they are walked beside the hurt runs.
#include "lacuna/hits.h"

#include <algorithm>
#include <tuple>

#include "disc/raw_content.h"
#include "salvage/gaps.h"
#include "salvage/pieces.h"

namespace lacuna {
namespace {

constexpr std::uint32_t kNoStructure = ~std::uint32_t{0};

/// Something that says of bytes that they are its own.
struct Claim {
  std::uint64_t first = 0, end = 0;  ///< Bytes on the disc.
  std::uint64_t offset = 0;          ///< Of its first byte within the file or structure.
  std::uint64_t bytes = 0;           ///< Fewer than its span when it stands for interleaved pieces outside the image.
  std::uint32_t structure = kNoStructure;
  NodeId node = kNoNode;
};

/// The bytes of a hit's run.
struct RunBytes {
  std::uint64_t first = 0, behind = 0;
  std::uint64_t end() const noexcept { return behind; }
};

/// A target and the run that it belongs to.
struct Found {
  std::size_t run = 0;
  HitTarget target;
};

class HitFinder {
 public:
  HitFinder(const Disc& disc, const Verdicts& verdicts)
      : disc_(disc), states_(verdicts.states()), window_(byte_window(disc.image())) {}

  Hits run() {
    gather_claims();
    gather_runs();
    budget_ = (std::size_t{1} << 20) + 4 * (claims_.size() + bytes_.size());
    match();
    list_targets();
    count_idle();
    return std::move(out_);
  }

 private:
  void gather_claims() {
    for (std::size_t i = 0; i < disc_.structures().size(); ++i) {
      const Structure& s = disc_.structures()[i];
      const std::uint64_t end = saturating_add(s.position, s.bytes);
      if (s.bytes == 0) continue;
      // Cut at the window's borders like the pieces of files, so that each claim is wholly in or out.
      const std::uint64_t inner = std::clamp(window_.first, s.position, end);
      const std::uint64_t outer = std::clamp(window_.end, inner, end);
      const auto index = static_cast<std::uint32_t>(i);
      for (const Range& part : {Range{s.position, inner}, Range{inner, outer}, Range{outer, end}}) {
        if (part.length() == 0) continue;
        claims_.push_back({part.first, part.end, part.first - s.position, part.length(), index, s.node});
      }
    }
    const PieceList list = collect_pieces(disc_.tree(), window_, true);
    claims_.reserve(claims_.size() + list.pieces.size() + list.outside.size());
    for (const FilePiece& p : list.pieces) {
      claims_.push_back({p.position, p.end(), p.offset, p.bytes, kNoStructure, p.node});
    }
    for (const OutsidePart& p : list.outside) {
      claims_.push_back({p.position, p.end, p.offset, p.bytes, kNoStructure, p.node});
    }
    const auto by_place = [](const Claim& a, const Claim& b) {
      return std::tie(a.first, a.structure, a.node, a.offset) < std::tie(b.first, b.structure, b.node, b.offset);
    };
    if (!std::is_sorted(claims_.begin(), claims_.end(), by_place)) {
      std::sort(claims_.begin(), claims_.end(), by_place);
    }
  }

  /// Runs inside the image from the states; outside it, the stretches that something claims.
  void gather_runs() {
    std::vector<Range> before;
    std::vector<Range> behind;
    for (const Claim& c : claims_) {
      if (c.end <= window_.first) before.push_back({c.first, c.end});
      if (c.first >= window_.end) behind.push_back({c.first, c.end});
    }
    add_absent(RangeSet::from_unsorted(std::move(before)));
    for (const SectorRun& run : states_.slice(disc_.image().first_lba(), disc_.image().end_lba())) {
      if (is_sound(run.state)) continue;
      out_.hits.push_back({run, 0, 0, 0});
      bytes_.push_back({run.first * kSectorBytes, std::min(run.end() * kSectorBytes, window_.end)});
    }
    add_absent(RangeSet::from_unsorted(std::move(behind)));
  }

  void add_absent(const RangeSet& bytes) {
    for (const Range& r : bytes.ranges()) {
      // An image that is cut within a sector lacks the rest of that sector, which then stands in this run too.
      const std::uint64_t first = r.first / kSectorBytes;
      const std::uint64_t end = (r.end - 1) / kSectorBytes + 1;
      if (!out_.hits.empty()) {
        SectorRun& last = out_.hits.back().run;
        // Between a run inside the image and this one there may be good bytes of a cut last sector.
        const bool touch =
            bytes_.back().behind == r.first || bytes_.back().first >= window_.end || r.end <= window_.first;
        if (last.state == SectorState::kAbsent && last.end() >= first && touch) {
          last.count = end - last.first;
          bytes_.back().behind = r.end;
          continue;
        }
      }
      out_.hits.push_back({{first, end - first, SectorState::kAbsent}, 0, 0, 0});
      bytes_.push_back({r.first, r.end});
    }
  }

  void match() {
    found_.reserve(std::min(claims_.size(), bytes_.size()));
    std::size_t run = 0;
    for (const Claim& c : claims_) {
      run = gallop_to_end_after(std::span<const RunBytes>(bytes_), run, c.first);
      std::size_t r = run;
      for (; r < bytes_.size() && bytes_[r].first < c.end && found_.size() < budget_; ++r) {
        const std::uint64_t first = std::max(c.first, bytes_[r].first);
        const std::uint64_t end = std::min(c.end, bytes_[r].behind);
        HitTarget t{c.structure, c.node, c.offset + (first - c.first), std::min(end - first, c.bytes)};
        if (c.structure == kNoStructure && disc_.tree().node(c.node).has(node_flag::kRawSectors)) {
          const std::uint64_t behind = raw_end(t.offset + t.bytes);
          t.offset = raw_begin(t.offset);
          t.bytes = behind - t.offset;
        }
        found_.push_back({r, t});
      }
      if (r < bytes_.size() && bytes_[r].first < c.end) out_.complete = false;
    }
  }

  /// Groups what was found by run, and what one file or structure loses to a run into one target.
  void list_targets() {
    const auto by_run = [](const Found& a, const Found& b) { return a.run < b.run; };
    const auto by_target = [](const Found& a, const Found& b) {
      return std::tie(a.target.structure, a.target.node, a.target.offset) <
             std::tie(b.target.structure, b.target.node, b.target.offset);
    };
    // Sorted already unless claims overlap.
    if (!std::is_sorted(found_.begin(), found_.end(), by_run)) std::stable_sort(found_.begin(), found_.end(), by_run);
    for (auto group = found_.begin(); group != found_.end();) {
      const auto end = std::find_if(group, found_.end(), [&](const Found& f) { return f.run != group->run; });
      std::sort(group, end, by_target);
      group = end;
    }
    out_.targets.reserve(found_.size());
    for (std::size_t i = 0; i < found_.size(); ++i) {
      const Found& f = found_[i];
      Hit& hit = out_.hits[f.run];
      if (hit.target_count == 0) hit.first_target = static_cast<std::uint32_t>(out_.targets.size());
      if (hit.target_count != 0) {
        HitTarget& last = out_.targets.back();
        if (last.structure == f.target.structure && last.node == f.target.node) {
          last.bytes = saturating_add(last.bytes, f.target.bytes);
          continue;
        }
      }
      out_.targets.push_back(f.target);
      ++hit.target_count;
    }
    found_ = {};
  }

  void count_idle() {
    std::vector<Range> used;
    used.reserve(claims_.size());
    for (const Claim& c : claims_) used.push_back({c.first / kSectorBytes, (c.end - 1) / kSectorBytes + 1});
    const RangeSet used_lbas = RangeSet::from_unsorted(std::move(used));
    std::size_t at = 0;
    for (Hit& hit : out_.hits) {
      std::uint64_t taken = 0;
      at = used_lbas.first_ending_after(hit.run.first, at);
      for (std::size_t k = at; k < used_lbas.ranges().size() && used_lbas.ranges()[k].first < hit.run.end(); ++k) {
        const Range& r = used_lbas.ranges()[k];
        taken += std::min(r.end, hit.run.end()) - std::max(r.first, hit.run.first);
      }
      hit.idle_sectors = hit.run.count - taken;
    }
  }

  const Disc& disc_;
  const SectorMap& states_;
  Range window_;
  Hits out_;
  LargeVector<Claim> claims_;
  LargeVector<RunBytes> bytes_;  // of out_.hits, one each
  LargeVector<Found> found_;
  std::size_t budget_ = 0;
};

}  // namespace

Hits find_hits(const Disc& disc, const Verdicts& verdicts) { return HitFinder(disc, verdicts).run(); }

}  // namespace lacuna
