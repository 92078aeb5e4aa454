// SPDX-License-Identifier: GPL-3.0-or-later
// Correction of a sector by its parity (ECMA-130 annex A). Each codeword corrects one wrong symbol of unknown place, or
// two of known place; two of unknown place may be mistaken for one elsewhere, so that nothing here is proof: the EDC
// is.
#pragma once

#include "media/cd/parity.h"

namespace lacuna::cd {

/// Which codewords are tried first; where one order runs into a mistake, the other may not.
enum class FirstBy : std::uint8_t { kP, kQ };

struct CorrectionInput {
  Syndromes syndromes;                   ///< Of the sector as given.
  const ErasureSet* erasures = nullptr;  ///< Bytes that are wrong for certain; none before the header.
  bool header_is_zero = false;           ///< Mode 2 form 1: bytes 12 to 15 are not to be changed.
  FirstBy first = FirstBy::kP;
};

struct Correction {
  std::size_t failing_columns = 0;    ///< P codewords whose sums are not zero in the end.
  std::size_t failing_diagonals = 0;  ///< Q codewords.
};

/// Past this many failing codewords another order of correction won't help.
inline constexpr std::size_t kMostFailing = (kColumns + kDiagonals) / 2;

/// Corrects the sector in place, by both kinds of codewords in turn until all agree or nothing more can be done, in a
/// bounded number of rounds. Any bytes it leaves behind may be wrong, changed ones too.
Correction correct(RawSpan sector, const CorrectionInput& input) noexcept;

}  // namespace lacuna::cd
