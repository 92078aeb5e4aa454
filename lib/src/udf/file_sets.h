// SPDX-License-Identifier: GPL-3.0-or-later
// File set descriptor sequences (ECMA-167 4/8.3.1, UDF 2.3.2): the roots of a logical volume.
#pragma once

#include <vector>

#include "lacuna/disc.h"
#include "media/byte_reader.h"
#include "udf/decode/file_set.h"
#include "udf/partitions.h"

namespace lacuna::udf {

/// To be moved, not copied.
struct FoundFileSet {
  FoundFileSet() = default;
  FoundFileSet(FoundFileSet&&) = default;
  FoundFileSet& operator=(FoundFileSet&&) = default;

  std::vector<std::uint8_t> block;  ///< What the views lie in.
  FileSet descriptor;
  std::uint64_t position = 0;  ///< Byte address on the disc.
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

}  // namespace lacuna::udf
