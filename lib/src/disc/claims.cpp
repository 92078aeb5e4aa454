// SPDX-License-Identifier: GPL-3.0-or-later
#include "disc/claims.h"

#include <algorithm>
#include <array>

#include "base/bytes.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kSystemAreaSectors = 16;

/// Sectors that [position, position + bytes) touches.
Range touched(std::uint64_t position, std::uint64_t bytes) {
  return {position / kSectorBytes, (position + bytes + kSectorBytes - 1) / kSectorBytes};
}

bool is_sure(const Tree& tree, NodeId id) {
  const Node& n = tree.node(id);
  const bool named = n.evidence == Evidence::kTree || n.evidence == Evidence::kView;
  return named && !n.has(node_flag::kBoot | node_flag::kDeleted) && !tree.has_doubts(id);
}

}  // namespace

RangeSet sectors_of_image(const Image& image, Range lbas, bool with_bytes) {
  std::vector<Range> ranges;
  for (const SectorRun& run : image.states().slice(lbas.first, lbas.end)) {
    if (has_bytes(run.state) == with_bytes) ranges.push_back({run.first, run.first + run.count});
  }
  return RangeSet::from_unsorted(std::move(ranges));
}

RangeSet sectors_of_files(const Tree& tree, bool beyond_doubt) {
  std::vector<Range> ranges;
  for (NodeId id = 1; id < tree.size(); ++id) {
    const Node& n = tree.node(id);
    if (n.kind != NodeKind::kFile || (beyond_doubt && !is_sure(tree, id))) continue;
    for (const Extent& e : tree.extents(n)) {
      for_each_piece(e, [&](std::uint64_t position, std::uint64_t bytes) {
        // What follows a file's last byte in its sector is nothing; where blocks are smaller, something may precede.
        Range r = touched(position, bytes);
        if (beyond_doubt && position % kSectorBytes != 0) {
          r = {r.first + 1, std::max(r.first + 1, (position + bytes) / kSectorBytes)};
        }
        ranges.push_back(r);
        return true;
      });
    }
  }
  return RangeSet::from_unsorted(std::move(ranges));
}

RangeSet unclaimed_sectors(const Image& image, const Tree& tree, std::span<const Structure> structures) {
  std::vector<Range> used;
  for (const Structure& s : structures) {
    if (s.position < kNowhere && s.bytes != 0) used.push_back(touched(s.position, s.bytes));
  }
  return sectors_of_image(image, {std::max(image.first_lba(), kSystemAreaSectors), image.end_lba()}, true)
      .minus(RangeSet::from_unsorted(std::move(used)))
      .minus(sectors_of_files(tree, false));
}

RangeSet without_blank(const Image& image, const RangeSet& lbas) {
  constexpr std::uint64_t kChunkSectors = 256;
  std::vector<std::uint8_t> bytes(kChunkSectors * kSectorBytes);
  std::vector<SectorState> states(kChunkSectors);
  RangeSet out;
  for (const Range& r : lbas.ranges()) {
    for (std::uint64_t at = r.first; at < r.end; at += kChunkSectors) {
      const auto count = static_cast<std::size_t>(std::min(kChunkSectors, r.end - at));
      image.read(at, std::span(bytes).first(count * kSectorBytes), std::span(states).first(count));
      for (std::size_t i = 0; i < count; ++i) {
        if (has_bytes(states[i]) && !all_zero(Bytes(bytes).subspan(i * kSectorBytes, kSectorBytes))) {
          out.add({at + i, at + i + 1});
        }
      }
    }
  }
  return out;
}

RangeSet without_structures(const RangeSet& lbas, const std::optional<ScanFacts>& scan) {
  if (!scan) return lbas;
  const RangeSet rest = lbas.minus(scan->structure_lbas);
  std::vector<Range> kept;
  for (const Range& r : lbas.ranges()) {
    if (rest.intersects(r)) kept.push_back(r);
  }
  return RangeSet::from_unsorted(std::move(kept));
}

}  // namespace lacuna
