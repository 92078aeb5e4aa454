// SPDX-License-Identifier: GPL-3.0-or-later
// The error detection code of CD sectors (ECMA-130 14.3): a CRC of 32 bits, with P(x) =
// (x^16+x^15+x^2+1)(x^16+x^2+x+1), the least significant bit of each byte first, register preset to zero, recorded
// little-endian.
#pragma once

#include <cstdint>

#include "base/bytes.h"

namespace lacuna::cd {

/// Of the bytes in their order; 0 for none, and for zeros however many. By carry-less multiplication where the
/// processor has it, which is asked once; by tables elsewhere. Safe for concurrent use.
std::uint32_t edc(Bytes bytes) noexcept;

/// The same by tables, whatever the processor: for what is not x86, and to compare.
std::uint32_t edc_by_tables(Bytes bytes) noexcept;

/// True when edc() multiplies.
bool edc_multiplies() noexcept;

}  // namespace lacuna::cd
