// SPDX-License-Identifier: GPL-3.0-or-later
// Several reads of one sector of which none proves itself, joined: what they agree on is kept, and where they differ
// the parity chooses (ECMA-130 annex A) and the EDC decides.
#pragma once

#include <span>

#include "media/cd/sector.h"

namespace lacuna::cd {

/// One read of a sector.
struct RawVersion {
  /// kRawSectorBytes as a drive gave them, unscrambled; or 2048 or 2324 bytes, which are its user data (mode 1 and form
  /// 1, form 2).
  Bytes bytes;
  const ErasureSet* erasures = nullptr;  ///< Bytes of the whole sector that are known to be wrong or missing.
};

/// Versions beyond these are not looked at, nor are any that say the same as another.
inline constexpr std::size_t kMostVersions = 6;
/// EDC comparisons of a sector: form 2, 16; mode 1 and form 1 each 56, of which 6 without the parity, and with two
/// whole versions 5, none without it.
inline constexpr std::size_t kMostComparisons = 16 + 2 * 56;

/// Joins reads for each of which prove() failed, or that have only user data, and writes the sector to `out` if its EDC
/// agrees: kRepaired and proven, with its sync, its address if that is expected, and the parity that belongs to it.
/// Else kBad, and `out` is not written. Tried in turn, for each form that is expected or that a version tells:
///
/// 1. where a majority agrees, its bytes; elsewhere those that the parity chooses, by runs, then byte by byte;
/// 2. the same, with all bytes on which any two differ left to choose;
/// 3. all these as erasures, that is of any value;
/// 4. a version that lacks bytes, user data above all, with the bytes of the others in their place;
/// 5. pairs of versions, as in 1 and 3.
///
/// Form 2 has no parity: its EDC chooses among at most 16 combinations of runs, where they differ in few places. Of
/// mode 2, whose header no code covers, versions whose header names another address than expected are left out.
/// Erasures are those of the versions, not of `expected`.
///
/// Versions that agree are no proof, whatever their number. Odds: as prove(), bytes by chance pass one comparison with
/// an EDC once in 2^32. A sector gets at most kMostComparisons, those with parity only after all 86 codewords of P
/// agree (docs/formats/raw.md). Deterministic and bounded in time (docs/benchmarks.md). Safe for concurrent use.
Sector join(std::span<const RawVersion> versions, RawSpan out, const Expected& expected = {});

}  // namespace lacuna::cd
