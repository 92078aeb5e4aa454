// SPDX-License-Identifier: GPL-3.0-or-later
// What fuzzing starts from: small built images over all variants, and every structure in them.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

namespace lacuna::test {

/// Whole images behind two bytes of options for "open_image_fuzz" (which leaves the system area out), structures for
/// every other target.
std::vector<std::vector<std::uint8_t>> seeds_for(std::string_view target);

}  // namespace lacuna::test
