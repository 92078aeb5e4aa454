// SPDX-License-Identifier: GPL-3.0-or-later
// What the path tables of a volume say of its directories (ECMA-119 6.9, 9.4). They are read only when a directory
// could not be.
#pragma once

#include <cstdint>
#include <optional>
#include <unordered_map>
#include <vector>

#include "iso9660/decode/volume_descriptor.h"
#include "lacuna/disc.h"

namespace lacuna::iso9660 {

/// The places of a volume's path tables, for the list of structures; no reading.
std::vector<Structure> path_table_structures(const VolumeDescriptor& d, View view);

class PathTables {
 public:
  /// Reads the L, M and optional tables; the one of which most records can be had counts.
  PathTables(const Image& image, const VolumeDescriptor& d);

  /// How many directories lie directly in the one whose extent starts at this byte address; nothing when no readable
  /// record is of that directory. A lower bound when the table breaks off.
  std::optional<std::uint64_t> subdirectories(std::uint64_t position) const;

 private:
  std::unordered_map<std::uint64_t, std::uint64_t> counts_;
};

}  // namespace lacuna::iso9660
