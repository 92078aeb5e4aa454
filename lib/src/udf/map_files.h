// SPDX-License-Identifier: GPL-3.0-or-later
// The files that partition maps rest on: virtual allocation tables (UDF 2.2.11) and metadata files (UDF 2.2.13).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/progress.h"
#include "lacuna/result.h"
#include "udf/entry_reader.h"

namespace lacuna::udf {

/// One state of a write-once volume.
struct VirtualTableState {
  std::uint64_t position = 0;          ///< Of the table's ICB, byte address on the disc.
  std::uint32_t block = 0;             ///< The same, block of the physical partition.
  std::vector<std::uint32_t> entries;  ///< Lost ones are FFFFFFFF.
  std::uint64_t lost_entries = 0;
  std::optional<std::uint32_t> previous;  ///< Block of the physical partition.
  std::optional<std::uint32_t> files, directories;
  std::uint16_t min_read = 0;
  Timestamp recorded;
  std::vector<Structure> structures;
  bool may_be_superseded = false;  ///< A newer table may have been lost.
};

struct VirtualTableSearch {
  std::uint16_t virtual_reference = 0;
  std::uint64_t end_byte = 0;  ///< Behind the session: the search goes back from here.
  ProgressCallback progress;
};

/// The newest table of the session: at its last written sector, or before it, as far back as the partition reaches.
/// Then, by their links, all tables before it that can be read. Newest first; none when there is no table. Errors:
/// kCancelled.
Result<std::vector<VirtualTableState>> find_virtual_tables(ByteReader& reader, const Partitions& partitions,
                                                           const VirtualTableSearch& search, Findings& findings);

/// Reads the metadata file and its mirror and hands both to the partitions. Gives how many of them have blocks of their
/// own to give.
int load_metadata(Partitions& partitions, EntryReader& entries, std::uint16_t reference, Findings& findings,
                  std::vector<Structure>& structures);

}  // namespace lacuna::udf
