// SPDX-License-Identifier: GPL-3.0-or-later
// Hybrid discs: what lies beside ISO 9660 is recognised and named, not read.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "lacuna/image.h"

namespace lacuna::iso9660 {

/// Names of the partition tables and file systems that the first sectors of the image, and the recognition sequence of
/// the session at `session_lba`, speak of: "UDF", "HFS+ (Apple partition map)", "master boot record", …
std::vector<std::string> find_other_systems(const Image& image, std::uint64_t session_lba);

}  // namespace lacuna::iso9660
