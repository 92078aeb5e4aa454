// SPDX-License-Identifier: GPL-3.0-or-later
// Random damage to raw sectors, for tests and trials of their repair.
#pragma once

#include <random>
#include <string_view>
#include <vector>

#include "media/cd/sector.h"
#include "support/raw_encoder.h"

namespace lacuna::test {

enum class RawDamage : std::uint8_t {
  kOneCodeword,  ///< `bytes` in one codeword of P.
  kScattered,    ///< `bytes` anywhere behind the sync.
  kBurst,        ///< `bytes` in a row, anywhere in the sector.
  kBursts,       ///< Four bursts of a quarter of `bytes` each.
  kEverySixth,   ///< Every sixth byte from anywhere, `bytes` of them.
  kZeros,        ///< `bytes` in a row made zero.
  kRest,         ///< All from anywhere to the end, `bytes` being ignored.
};
std::string_view to_string(RawDamage kind);

/// 64 sectors of a form at LBA 1000 and on: of text, of noise, and mostly of zeros, in turn.
std::vector<RawSector> trial_sectors(SectorForm form, std::mt19937_64& random);

/// Changes bytes, each of them to another value except where they become zero or noise, and says which may be wrong.
cd::ErasureSet damage_raw(RawSector& sector, RawDamage kind, std::size_t bytes, std::mt19937_64& random);

}  // namespace lacuna::test
