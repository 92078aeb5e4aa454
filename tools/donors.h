// SPDX-License-Identifier: GPL-3.0-or-later
// DONOR...: other images, opened one after the other and held against the files that are not whole.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "lacuna/twins.h"
#include "options.h"

namespace lacuna::tool {

/// Looks at all donors. One that can't be opened, or holds no file system, is named and passed over. Throws Failure for
/// an argument that makes no sense, when bytes to keep find no room, and when interrupted.
std::unique_ptr<const Twins> look_at_donors(const OpenedDisc& opened, const ImageArguments& image,
                                            const std::vector<std::string>& donors, const GlobSet& only,
                                            const CommonArguments& common, ProgressLine& line);

/// True when each donor was looked at in full.
bool all_looked_at(const Twins& twins);

}  // namespace lacuna::tool
