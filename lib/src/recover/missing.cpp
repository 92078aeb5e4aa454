// SPDX-License-Identifier: GPL-3.0-or-later
#include "recover/missing.h"

#include <fmt/format.h>

#include <algorithm>

#include "disc/claims.h"

namespace lacuna::recover {
namespace {

/// Sectors of volumes in the tree that can't be read and that no file is known to fill.
RangeSet unreadable_elsewhere(const Disc& disc, const RangeSet& files) {
  std::uint64_t end = 0;
  for (const Session& session : disc.sessions()) {
    for (const Volume& v : session.volumes) {
      if (session.in_tree) end = std::max(end, v.space_bytes / kSectorBytes);
    }
  }
  std::vector<Range> ranges;
  for (const SectorRun& run : disc.image().states().slice(0, end)) {
    if (!has_bytes(run.state)) ranges.push_back({run.first, run.first + run.count});
  }
  return RangeSet::from_unsorted(std::move(ranges)).minus(files);
}

}  // namespace

std::string reason_to_scan(const Disc& disc) {
  if (!disc.lost_directories().empty()) {
    return fmt::format("{} directories can't be read in full", disc.lost_directories().size());
  }
  const Tree& tree = disc.tree();
  for (NodeId id = 1; id < tree.size(); ++id) {
    if (tree.node(id).has(node_flag::kUnlocated)) return "it is not known where some files lie";
  }
  const RangeSet unreadable = unreadable_elsewhere(disc, sectors_of_files(tree, true));
  if (!unreadable.empty()) {
    return fmt::format("{} unreadable sectors from LBA {} on may have held structures", unreadable.total(),
                       unreadable.ranges().front().first);
  }
  for (const Finding& f : disc.findings().list()) {
    if (f.severity == Severity::kLoss) return fmt::format("{}: {}", f.subject, f.text);
  }
  return {};
}

}  // namespace lacuna::recover
