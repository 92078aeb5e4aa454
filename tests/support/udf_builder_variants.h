// SPDX-License-Identifier: GPL-3.0-or-later
// One small volume of every variant that build_udf() writes, for tests that go through them all.
#pragma once

#include <string>
#include <vector>

#include "support/udf_builder.h"

namespace lacuna::test {

/// What a variant needs of a reader beyond type 1 partitions and plain files of short or long descriptors.
enum UdfNeeds : unsigned {
  kNeedsNothing = 0,
  kNeedsMap = 1,  ///< Virtual or sparable partition.
  kNeedsMetadata = 2,
  kNeedsChains = 4,      ///< ICB strategy 4096.
  kNeedsSpecial = 8,     ///< Links, devices, holes, streams, attributes.
  kNeedsExtended = 16,   ///< Extended allocation descriptors.
  kNeedsBlockSize = 32,  ///< Other than 2048.
  kNeedsSession = 64,    ///< Begins elsewhere than at 0.
  kNeedsSearch = 128,    ///< The VAT is not in the last block, or anchors are only at 512.
  kNeedsSets = 256,      ///< Several file sets, or two partitions.
};

struct UdfVariant {
  std::string name;
  unsigned needs = 0;
  UdfNode root;
  UdfOptions options;
};

/// Directories and files of all sizes and forms of names, whole, in short or long descriptors.
UdfNode udf_plain_tree();
/// Holes, tails, fragments in AEDs, hidden and deleted entries, hard and symbolic links, devices; streams and
/// attributes when the entries are extended ones.
UdfNode udf_special_tree(const UdfOptions& options);
std::vector<UdfVariant> udf_variants();

}  // namespace lacuna::test
