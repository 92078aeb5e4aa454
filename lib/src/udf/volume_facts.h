// SPDX-License-Identifier: GPL-3.0-or-later
// What a UDF volume says of itself: names, dates, integrity (ECMA-167 3/10.10), free space, and what it was written
// for.
#pragma once

#include <optional>

#include "lacuna/disc.h"
#include "media/byte_reader.h"
#include "udf/partitions.h"
#include "udf/volume_search.h"

namespace lacuna::udf {

/// The last integrity descriptor that counts of the sequence. To be moved, not copied.
struct FoundIntegrity {
  FoundIntegrity() = default;
  FoundIntegrity(FoundIntegrity&&) = default;
  FoundIntegrity& operator=(FoundIntegrity&&) = default;

  std::vector<std::uint8_t> block;  ///< What the views lie in.
  Integrity descriptor;
};
std::optional<FoundIntegrity> read_integrity(ByteReader& reader, const VolumeDescriptors& volume, ExtentAd extent,
                                             Findings& findings, std::vector<Structure>& structures);

/// The volume in the terms of the disc model, facts of UDF included that need no tree.
Volume describe_volume(const FoundVolume& found, const Found<LogicalVolume>& logical, const Partitions& partitions,
                       const std::optional<FoundIntegrity>& integrity);

/// Free space by the partition's own bitmap or table, where the integrity descriptor is silent; `structures` gets where
/// they lie.
std::optional<std::uint64_t> free_by_space_map(ByteReader& reader, const FoundVolume& found,
                                               const Partitions& partitions, std::vector<Structure>& structures);

}  // namespace lacuna::udf
