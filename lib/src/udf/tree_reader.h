// SPDX-License-Identifier: GPL-3.0-or-later
// Reads the directories of a file set into a tree (ECMA-167 4/8.6, UDF 2.3.4).
#pragma once

#include <cstdint>

#include "disc/sessions.h"
#include "lacuna/result.h"
#include "udf/adopt.h"
#include "udf/decode/file_set.h"
#include "udf/entry_reader.h"

namespace lacuna::udf {

struct TreeRequest {
  LongAd root;              ///< ICB of the root directory.
  LongAd system_streams;    ///< May be none().
  bool write_once = false;  ///< Blocks can't have been written twice: what a deleted name leads to is as it was.
  Evidence evidence = Evidence::kTree;
  const DiscOptions* options = nullptr;
  AdoptionRequest adoption;  ///< With remains: what the directories don't lead to is looked for in them.
};

struct TreeCounts {
  std::uint64_t named_streams = 0;
  std::uint64_t deleted_names = 0;
};

/// Each directory is read once, whatever loops the identifiers form; cost is bounded by the image, whatever lengths
/// entries claim. A name whose entry is lost is in the tree, unlocated. Errors: kCancelled.
Result<std::unique_ptr<SessionTree>> read_tree(ByteReader& reader, const Partitions& partitions,
                                               const TreeRequest& request, TreeCounts& counts);

}  // namespace lacuna::udf
