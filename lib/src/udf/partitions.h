// SPDX-License-Identifier: GPL-3.0-or-later
// Partitions: from an address within a partition (ECMA-167 4/7.1) to bytes of the disc, through whatever lies between:
// virtual allocation tables, sparing tables, the metadata file (UDF 2.2.8 to 2.2.13).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/disc.h"
#include "media/byte_reader.h"
#include "udf/decode/partition_map.h"
#include "udf/descriptor_sequence.h"

namespace lacuna::udf {

/// A file that the partitions themselves rest on: the VAT, the metadata files.
struct MapFile {
  std::vector<Extent> extents;
  std::uint64_t bytes = 0;
};

class Partitions {
 public:
  /// Physical partitions, and sparing tables; virtual and metadata ones have to be filled in. What is not there, lies
  /// on another volume of the set, or can't be read becomes findings and unlocated blocks.
  Partitions(ByteReader& reader, const VolumeDescriptors& volume, const LogicalVolume& logical, Findings& findings);

  std::uint32_t block_bytes() const noexcept { return block_bytes_; }
  std::size_t size() const noexcept { return spaces_.size(); }
  const PartitionMap& map(std::size_t reference) const { return spaces_[reference].map; }
  /// The first map of a kind; nothing when there is none.
  std::optional<std::uint16_t> first_of(PartitionMapKind kind) const;
  /// The physical partition under a virtual or metadata one: the type 1 or sparable map of the same partition.
  std::optional<std::uint16_t> under(std::uint16_t reference) const;

  void set_virtual_table(std::uint16_t reference, std::vector<std::uint32_t> entries);
  /// `mirror` may be the same as `main`, or empty.
  void set_metadata(std::uint16_t reference, MapFile main, MapFile mirror);

  /// Where a block of a partition lies; copy 1 is the metadata mirror's. Nothing: it has no place that is known.
  std::optional<std::uint64_t> position_of(LbAddr block, int copy = 0) const;
  int copies(std::uint16_t reference) const;

  /// Appends the extents of `bytes` from a block on, as many as are needed; unlocated stretches are kNowhere. Gives
  /// false when they would be more than the disc can reasonably have.
  bool locate(LbAddr first, std::uint64_t bytes, std::vector<Extent>& out) const;

  /// Why no address in the partition is beyond doubt; empty when none speaks against it.
  const std::string& doubt(std::uint16_t reference) const;
  /// What is known of its tables, for people.
  void set_state(std::uint16_t reference, std::string words) { spaces_[reference].state = std::move(words); }
  std::vector<UdfFacts::Map> describe() const;
  const std::vector<Structure>& structures() const noexcept { return structures_; }

  /// Physical start and length, bytes of the disc; nothing when the partition isn't known.
  struct Stretch {
    std::uint64_t position = 0, bytes = 0;
  };
  std::optional<Stretch> physical(std::uint16_t reference) const;

 private:
  struct Space {
    PartitionMap map;
    bool known = false;          // there is a partition descriptor, on this volume
    std::uint64_t position = 0;  // of block 0
    std::uint64_t blocks = 0;
    std::vector<std::uint32_t> table;                            // virtual: block of the partition, by virtual block
    std::vector<std::pair<std::uint32_t, std::uint32_t>> moved;  // sparable: packet's first block, sector; sorted
    MapFile main, mirror;                                        // metadata
    std::vector<std::uint64_t> main_ends, mirror_ends;           // running sums of their extents' bytes
    std::string doubt, state;
  };
  struct Run {
    std::uint64_t position = 0;  // or kNowhere
    std::uint64_t bytes = 0;
  };

  void read_sparing_tables(Space& space, std::uint16_t reference, Findings& findings);
  /// The contiguous run that starts at a byte of a space and is at most `bytes` long.
  Run run_at(const Space& space, std::uint64_t offset, std::uint64_t bytes, int copy) const;
  Run physical_run(const Space& space, std::uint64_t offset, std::uint64_t bytes) const;

  ByteReader& reader_;
  std::uint32_t block_bytes_;
  std::uint32_t sector_bytes_;
  std::vector<Space> spaces_;
  std::vector<Structure> structures_;
  mutable std::uint64_t extent_budget_;
};

}  // namespace lacuna::udf
