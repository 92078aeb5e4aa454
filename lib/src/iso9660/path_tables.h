// SPDX-License-Identifier: GPL-3.0-or-later
// What the path tables of a volume say of its directories (ECMA-119 6.9, 9.4). They are read only when a directory
// could not be.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <unordered_map>
#include <vector>

#include "iso9660/frames.h"
#include "iso9660/volume_basis.h"
#include "lacuna/disc.h"

namespace lacuna::iso9660 {

/// The places of a volume's path tables, for the list of structures; no reading.
std::vector<Structure> path_table_structures(const VolumeBasis& volume, View view);

/// A directory as a path table names it.
struct PathDirectory {
  std::uint64_t position = 0;  ///< Byte address of its extent.
  std::uint32_t parent = 0;    ///< Index; of the root, which is the first, its own.
  std::uint32_t depth = 0;     ///< 0: the root.
  std::uint32_t identifier_at = 0, identifier_bytes = 0;
};

class PathTables {
 public:
  /// Reads the L, M and optional tables, and (with `frames`) those that the scan found to start with the same root.
  /// All are copies of one table: each record is taken from the first of them in which it can be read, and where two
  /// differ, from one at whose extent a directory stands.
  PathTables(const Image& image, const VolumeBasis& volume, const Frames* frames);

  /// In the order of the table, parents before children; up to the first record that no copy has.
  std::span<const PathDirectory> directories() const noexcept { return directories_; }
  Bytes identifier(const PathDirectory& d) const {
    return Bytes(identifiers_).subspan(d.identifier_at, d.identifier_bytes);
  }
  /// By its extent's byte address, also from parts of tables whose beginning is lost. Empty: none names it.
  Bytes identifier_at(std::uint64_t position) const;

  /// How many directories lie directly in the one whose extent starts at this byte address; nothing when no readable
  /// record is of that directory. A lower bound when the table breaks off.
  std::optional<std::uint64_t> subdirectories(std::uint64_t position) const;
  /// The LBA of the first record in which readable copies differ.
  std::optional<std::uint64_t> differ_lba() const noexcept { return differ_lba_; }

 private:
  void add(std::uint64_t position, std::uint32_t parent, Bytes identifier);
  void add_parts(const Image& image, const VolumeBasis& volume, const Frames& frames);

  std::vector<PathDirectory> directories_;
  std::vector<PathDirectory> parts_;  // of tables whose beginning is lost; parents are not known
  std::vector<std::uint8_t> identifiers_;
  std::vector<std::uint64_t> children_;  // by index
  std::unordered_map<std::uint64_t, std::uint32_t> by_position_, part_by_position_;
  std::optional<std::uint64_t> differ_lba_;
};

}  // namespace lacuna::iso9660
