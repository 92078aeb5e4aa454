// SPDX-License-Identifier: GPL-3.0-or-later
// What a reading of a disc leaves open, so that looking through all sectors may bring more.
#pragma once

#include <string>

#include "lacuna/disc.h"

namespace lacuna::recover {

/// Why a scan is worth its time, for people; empty when nothing that should be there is missing.
std::string reason_to_scan(const Disc& disc);

}  // namespace lacuna::recover
