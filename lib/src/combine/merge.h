// SPDX-License-Identifier: GPL-3.0-or-later
// Going over the sectors of several reads, settling each.
#pragma once

#include <atomic>
#include <cstdint>
#include <functional>
#include <mutex>
#include <span>
#include <vector>

#include "base/bytes.h"
#include "lacuna/combine.h"
#include "lacuna/range_set.h"

namespace lacuna {

/// Sectors that were settled alike.
struct SettledRun {
  std::uint64_t first = 0, count = 0;
  SectorState state = SectorState::kAbsent;
  Settled how = Settled::kMissing;
  Basis basis = Basis::kAssumed;
  ReadMask reads = 0;    ///< Those that have the bytes taken.
  ReadMask against = 0;  ///< Those that call other bytes good.

  std::uint64_t end() const noexcept { return first + count; }
  bool alike(const SettledRun& other) const noexcept {
    return state == other.state && how == other.how && basis == other.basis && reads == other.reads &&
           against == other.against;
  }
};

/// Ascending runs, joined where they touch and are alike.
using SettledRuns = std::vector<SettledRun>;
void append_run(SettledRuns& to, const SettledRun& run);
/// `fresh` in the place of what `runs` says of the same sectors.
SettledRuns replaced(const SettledRuns& runs, const SettledRuns& fresh);

/// Reads that called other bytes good than those that are right, or may be: in a conflict all of them, unless the one
/// that is wrong elsewhere explains it.
ReadMask contradicted(const SettledRuns& runs) noexcept;
/// What one contradicted read alone has is suspect, kDistrusted. To be called again after each change.
void distrust(SettledRuns& runs);

/// Takes settled sectors' bytes, whole sectors from an LBA on, zeros where there are none; from several threads at
/// once, for disjoint LBAs. Gives 0 or an errno.
using SectorSink = std::function<int(std::uint64_t lba, Bytes bytes)>;

struct MergeReads {
  std::vector<const Image*> images;  ///< Number n of the mask is the nth.
  bool raw = false;                  ///< Whole sectors of kRawSectorBytes, else user data.

  std::uint32_t sector_bytes() const noexcept { return raw ? kRawSectorBytes : kSectorBytes; }
};

struct MergeTrouble {
  int write_error = 0;
  bool cancelled = false;
};

/// Settles the sectors of `lbas`, each as choose() has it, and joins raw reads where none is good by itself.
/// Deterministic, whatever the number of threads. Memory: 1 MiB a read and thread.
MergeTrouble merge(const MergeReads& reads, const RangeSet& lbas, const SectorSink& sink, unsigned threads,
                   const ProgressCallback& progress, SettledRuns& out);

}  // namespace lacuna
