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

/// Where behind `from` in a sector records begin again that nothing speaks against, up to its end or its zero padding;
/// the sector's size when they don't. For what follows a record that is garbled.
std::size_t next_record(Bytes sector, std::size_t from);

/// Of a directory's record whose two halves of the extent disagree (ECMA-119 9.1.3), the one that a second fact proves:
/// there stands a "." that names this very block, or else, a path table has a directory there. Nothing: neither half is
/// proven, or both are.
std::optional<std::uint32_t> proven_extent(const Image& image, const VolumeBasis& volume, const PathTables& tables,
                                           const DirectoryRecord& r);

}  // namespace lacuna::iso9660
