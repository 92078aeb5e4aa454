// SPDX-License-Identifier: GPL-3.0-or-later
// The two forms of a date in ECMA-119. The standard counts bytes from 1; offsets here are from 0.
#pragma once

#include <cstddef>
#include <optional>

#include "base/bytes.h"
#include "lacuna/timestamp.h"

namespace lacuna::iso9660 {

inline constexpr std::size_t kShortDateBytes = 7;
inline constexpr std::size_t kLongDateBytes = 17;

/// ECMA-119 9.1.5, seven binary bytes; more bytes than those are ignored. All zero means "not specified": the
/// Timestamp is then not known. Nothing: too short, or a field out of its range (zone: -48..52 quarters of an hour).
std::optional<Timestamp> decode_short_date(Bytes b);

/// ECMA-119 8.4.26.1, sixteen digits and a zone. Digits all '0' mean "not specified". Nothing: too short, or a field
/// out of its range, or not a digit.
std::optional<Timestamp> decode_long_date(Bytes b);

}  // namespace lacuna::iso9660
