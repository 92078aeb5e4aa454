// SPDX-License-Identifier: GPL-3.0-or-later
// Volumes whose descriptors are lost, put together from what the sectors hold.
#pragma once

#include <optional>

#include "media/byte_reader.h"
#include "udf/remains.h"
#include "udf/volume_search.h"

namespace lacuna::udf {

/// The volume that most structures belong to, with such descriptors as survived, wherever they stand, and others made
/// in place of the lost: where partitions start is voted by the structures in them, each of which says in which block
/// of its partition it stands (ECMA-167 4/7.2). Nothing: too little is left. Findings tell what it rests on.
std::optional<FoundVolume> rebuild_volume(ByteReader& reader, const Remains& remains, Findings& findings);

}  // namespace lacuna::udf
