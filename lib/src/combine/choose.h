// SPDX-License-Identifier: GPL-3.0-or-later
// One sector of which several reads brought bytes: whose to take, and what they are worth.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "base/bytes.h"
#include "lacuna/combine.h"
#include "lacuna/states.h"

namespace lacuna {

/// What one read has of a sector.
struct Candidate {
  Bytes bytes;                               ///< Those of all candidates are equally long.
  SectorState state = SectorState::kAbsent;  ///< As that read has it; without bytes it only says what was tried.
  bool proven = false;                       ///< By the sector's own code.
  Basis basis = Basis::kAssumed;             ///< What its `good` rests on.
  std::uint8_t read = 0;                     ///< Number of the read.
};

struct Choice {
  SectorState state = SectorState::kAbsent;
  Settled how = Settled::kMissing;
  Basis basis = Basis::kAssumed;  ///< What the state rests on.
  std::uint8_t taken = 0;         ///< Index of the candidate whose bytes are taken, when the state has bytes.
  ReadMask agreeing = 0;          ///< Reads with these bytes.
  ReadMask against = 0;           ///< Reads that call other bytes good.
};

/// The best evidence wins: proven by its own code, repaired, good in agreement, good alone, suspect. Good ones that
/// nothing proves and that differ are settled by the majority of three or more; without one the sector is suspect.
///
/// A read without a map that has a uniform fill (uniform_period()) where another read has other bytes, or failed, has
/// most likely filled up what it could not read: its bytes count as suspect here, and speak against nobody.
///
/// The basis is the strongest of the reads that have the bytes: that two reads without maps agree does not make it
/// more, since nobody knows whether they are two. Deterministic; ties go to the earlier candidate. Safe for concurrent
/// use.
Choice choose(std::span<const Candidate> candidates);

}  // namespace lacuna
