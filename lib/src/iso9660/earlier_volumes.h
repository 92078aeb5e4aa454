// SPDX-License-Identifier: GPL-3.0-or-later
// Earlier volumes: a rewritable disc that was used again keeps what the new volume did not overwrite.
#pragma once

#include <vector>

#include "iso9660/iso_part.h"

namespace lacuna::iso9660 {

/// Volumes of directories that none of the disc's sessions has (`current`, byte addresses) and that lie in no file of
/// theirs (`files`, byte ranges): one for each pair of root directories, and one of what has no root any more.
std::vector<VolumeTrees> find_earlier_volumes(const Image& image, const Frame& frame,
                                              const std::unordered_set<std::uint64_t>& current, const RangeSet& files);

}  // namespace lacuna::iso9660
