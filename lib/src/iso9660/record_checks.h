// SPDX-License-Identifier: GPL-3.0-or-later
// Directory records whose fields contradict themselves: which are no records at all, and which can be put right.
#pragma once

#include <cstdint>
#include <optional>

#include "iso9660/path_tables.h"
#include "iso9660/volume_basis.h"

namespace lacuna::iso9660 {

/// Whether so much speaks against a record that the bytes are taken for something else.
bool is_garbage(const DirectoryRecord& r);

/// Of a directory's record whose two halves of the extent disagree (ECMA-119 9.1.3), the one that a second fact proves:
/// there stands a "." that names this very block, or else, a path table has a directory there. Nothing: neither half is
/// proven, or both are.
std::optional<std::uint32_t> proven_extent(const Image& image, const VolumeBasis& volume, const PathTables& tables,
                                           const DirectoryRecord& r);

}  // namespace lacuna::iso9660
