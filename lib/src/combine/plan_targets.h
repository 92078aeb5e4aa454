// SPDX-License-Identifier: GPL-3.0-or-later
// Targets of a plan: files and structures, each with the blocks that must be read for it.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "combine/to_read.h"
#include "lacuna/plan.h"

namespace lacuna::combine {

/// What is complete when all of its blocks are read.
struct Target {
  PlanReason reason = PlanReason::kFile;
  bool stays_doubtful = false;
  std::uint64_t weight = 1;
  std::uint32_t subject = 0;  ///< NodeId of a file; of a structure an index into TargetList::structures.
  std::uint32_t first_need = 0, need_count = 0;
};

struct TargetList {
  std::vector<Target> targets;
  LargeVector<Range> needs;  ///< In blocks; of each target ascending and disjoint.
  std::vector<PlanStructure> structures;
  PlanLeft left;
  std::uint64_t sectors_outside = 0;  ///< Outside the image, that targets need; each counted once.
  std::uint64_t last_lba_end = 0;     ///< Behind the last sector that any needs.

  std::span<const Range> needs_of(const Target& t) const {
    return std::span(needs).subspan(t.first_need, t.need_count);
  }
};

/// A file that is whole counts this much; one that stays doubtful half of it.
inline constexpr std::uint64_t kFileWeight = 2;

TargetList find_targets(const Disc& disc, const Verdicts& verdicts, const PlanOptions& options, ToRead& to_read,
                        std::uint32_t block_sectors);

/// A structure, the sectors to be read for it, and what they are worth.
struct StructureNeed {
  PlanStructure what;
  std::vector<Range> lbas;
};

/// Every structure that can't be read and names or places files that are not known from elsewhere. `known` counts the
/// others. docs/plan has the rules.
std::vector<StructureNeed> structures_worth(const Disc& disc, const Verdicts& verdicts, const ToRead& to_read,
                                            const GlobSet& skip, std::uint64_t& known);

}  // namespace lacuna::combine
