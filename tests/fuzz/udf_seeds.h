// SPDX-License-Identifier: GPL-3.0-or-later
// What fuzzing of UDF starts from.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

namespace lacuna::test {

/// Structures for a target of decoders, "udf_..._fuzz", and volumes for "open_udf_fuzz"; none for any other.
std::vector<std::vector<std::uint8_t>> udf_seeds_for(std::string_view target);

}  // namespace lacuna::test
