// SPDX-License-Identifier: GPL-3.0-or-later
// The rule by which a file here and one on a donor are the same, apart from the comparison of their bytes: what a block
// must be to tell anything, and when names and dates are equal. docs/twins.md has all of it.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "lacuna/timestamp.h"
#include "lacuna/tree.h"

namespace lacuna {

/// A block of a file: so many bytes from a multiple of it; the last may be shorter.
inline constexpr std::uint64_t kTwinBlockBytes = 2048;
/// With fewer blocks that tell something nothing is certain.
inline constexpr std::uint64_t kFewestTwinBlocks = 3;
/// From so many on a file may have another name, when so many times the blocks that it lacks are compared.
inline constexpr std::uint64_t kManyTwinBlocks = 16;
inline constexpr std::uint64_t kRenamedTwinTimes = 4;
/// Blocks are counted up to here.
inline constexpr std::uint64_t kMostTwinBlocks = 65'536;
/// Files of one size that were written within so many seconds may be siblings from one run of a program.
inline constexpr std::int64_t kSiblingSeconds = 2;

/// False for blocks that a short pattern fills, and for those too short to tell.
bool tells_something(std::span<const std::uint8_t> block) noexcept;

/// The same moment to the second, and to the fraction where both record one; or the same wall clock, when one of them
/// names no zone.
bool same_date(const Timestamp& a, const Timestamp& b) noexcept;

/// Equal in a view's long names (Rock Ridge, UDF, Joliet, ISO 9660:1999) where both have such, else in any; the case of
/// ASCII letters does not count.
bool same_name(const Tree& tree_a, const Node& a, const Tree& tree_b, const Node& b);
/// By what nodes of equal names can be looked up: each name in lower case, once.
std::vector<std::string> name_keys(const Tree& tree, const Node& n);

}  // namespace lacuna
