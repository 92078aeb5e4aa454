// SPDX-License-Identifier: GPL-3.0-or-later
// A read whose bytes stand beside their places: finding out by how much, and reading it as if they did not.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>

#include "lacuna/image.h"

namespace lacuna {

/// How far either way a shift is looked for.
inline constexpr std::int64_t kFarthestShiftBytes = std::int64_t{1} << 20;

/// The shift under which most of 16 telling sectors of `known` are found in `other`: its byte at address a + shift is
/// the disc's at a. Nothing when fewer than 3 are found, or they are not of one mind. User data only.
std::optional<std::int64_t> find_shift(const Image& known, const Image& other);

/// The read put in its place; `other` must outlive it. A sector that straddles two of `other` has the worse state.
std::unique_ptr<Image> shifted(const Image& other, std::int64_t shift_bytes);

}  // namespace lacuna
