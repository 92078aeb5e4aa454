// SPDX-License-Identifier: GPL-3.0-or-later
// The scrambler of ECMA-130 annex B: on the disc, bytes 12 to 2351 of a sector are added to the bits of a register of
// 15 bits (x^15+x+1, preset 0001h), least significant bit first.
#pragma once

#include "media/cd/sector.h"

namespace lacuna::cd {

/// Scrambles in place what is plain, and makes plain what is scrambled. The sync is left alone.
void scramble(RawSpan sector) noexcept;

}  // namespace lacuna::cd
