// SPDX-License-Identifier: GPL-3.0-or-later
// Placing: what virtual allocation tables (UDF 2.2.11), metadata files (2.2.13) and sparing tables (2.2.12) would tell,
// when they are lost, from the structures that they lead to. Each says in which block of its partition it stands.
#pragma once

#include "udf/map_files.h"
#include "udf/partitions.h"
#include "udf/remains.h"

namespace lacuna::udf {

/// A virtual partition. Of a block that was written several times the last place counts, as on the disc. `known`, may
/// be null: the newest table that can be read, for what nothing behind it says otherwise; `end_byte`: behind the
/// session. What may be superseded by what can't be read is doubtful. Gives false when nothing could be added.
bool place_virtual(ByteReader& reader, Partitions& partitions, std::uint16_t reference, const VirtualTableState* known,
                   std::uint64_t start_byte, std::uint64_t end_byte, const Remains& remains, Findings& findings);

/// A metadata partition of which neither file entry is left.
bool place_metadata(ByteReader& reader, Partitions& partitions, std::uint16_t reference, const Remains& remains,
                    Findings& findings);

/// The other copy of a metadata partition of which one file entry is left.
bool place_mirror(Partitions& partitions, std::uint16_t reference, const Remains& remains, Findings& findings);

/// Packets of a sparable partition that were moved, as far as structures stand in them.
bool place_moved(Partitions& partitions, std::uint16_t reference, const Remains& remains, Findings& findings);

}  // namespace lacuna::udf
