// SPDX-License-Identifier: GPL-3.0-or-later
// How much a medium holds at most.
#pragma once

#include <cstdint>

#include "lacuna/plan.h"

namespace lacuna::combine {

/// Sectors of the largest disc of the kind. CD: up to the last address that a header can hold, 99:59:74, less the 150
/// sectors before LBA 0 (ECMA-130 14.2). DVD: both layers of a side, as recorded (ECMA-364, 8.55 GB). BD: four layers,
/// 128 GB. All from memory.
std::uint64_t capacity_sectors(Medium m) noexcept;

}  // namespace lacuna::combine
