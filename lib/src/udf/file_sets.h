// SPDX-License-Identifier: GPL-3.0-or-later
// File set descriptor sequences (ECMA-167 4/8.3.1, UDF 2.3.2): the roots of a logical volume.
#pragma once

#include <vector>

#include "lacuna/disc.h"
#include "media/byte_reader.h"
#include "udf/decode/file_set.h"
#include "udf/partitions.h"
#include "udf/remains.h"

namespace lacuna::udf {

/// To be moved, not copied.
struct FoundFileSet {
  FoundFileSet() = default;
  FoundFileSet(FoundFileSet&&) = default;
  FoundFileSet& operator=(FoundFileSet&&) = default;

  std::vector<std::uint8_t> block;  ///< What the views lie in.
  FileSet descriptor;
  std::uint64_t position = 0;  ///< Byte address on the disc.
  bool scanned = false;        ///< No sequence leads to it.
};

struct FileSets {
  /// All proven descriptors, the one that counts last: UDF 2.3.2 makes the highest file set number the default, and of
  /// one number the highest descriptor number counts.
  std::vector<FoundFileSet> found;
  bool newest_lost = false;  ///< Behind the last of them something is lost that may have been a newer one.
};

/// What fails becomes findings.
FileSets read_file_sets(ByteReader& reader, const Partitions& partitions, const LongAd& first, Findings& findings,
                        std::vector<Structure>& structures);

/// Adds what scanning found and no sequence led to, where it stands in a partition as its tag says: behind those of
/// `sets` when the one that counts may be lost, else before them, as earlier states. Of equal ranks the one recorded
/// last counts.
void add_scanned_file_sets(ByteReader& reader, const Partitions& partitions, const Remains& remains, FileSets& sets,
                           Findings& findings);

/// Where the root directory's ICB is or was, when no file set is left: an entry with unique id 0 (UDF 3.2.1), or what
/// directories name as their parent and no identifier names as its file. None of `known`, which are of other file sets.
/// none() when nothing tells.
LongAd find_root(const Partitions& partitions, const Remains& remains, const std::vector<LbAddr>& known);

}  // namespace lacuna::udf
