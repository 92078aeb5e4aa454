// SPDX-License-Identifier: GPL-3.0-or-later
// Partitions: from an address within a partition (ECMA-167 4/7.1) to bytes of the disc, through whatever lies between:
// virtual allocation tables, sparing tables, the metadata file (UDF 2.2.8 to 2.2.13).
#pragma once

#include <cstdint>
#include <optional>
#include <set>
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
  /// Blocks of a virtual or metadata partition whose tables are lost, by where structures say that they stand.
  /// `doubt` (when not empty) is about entries before byte `doubtful_before` of the disc, and about `contested` blocks.
  void set_placed(std::uint16_t reference, MapFile main, MapFile mirror, std::uint64_t doubtful_before,
                  std::set<std::uint32_t> contested, std::string doubt);
  void set_mirror(std::uint16_t reference, MapFile mirror);
  /// Packets that were moved (UDF 2.2.12), of which no sparing table tells: first block of the packet, byte address.
  void add_moved(std::uint16_t reference, const std::vector<std::pair<std::uint32_t, std::uint64_t>>& moved);

  /// Where a block of a partition lies; copy 1 is the metadata mirror's. Nothing: it has no place that is known.
  std::optional<std::uint64_t> position_of(LbAddr block, int copy = 0) const;
  int copies(std::uint16_t reference) const;

  /// Appends the extents of `bytes` from a block on, as many as are needed; unlocated stretches are kNowhere. Gives
  /// false when they would be more than the disc can reasonably have.
  bool locate(LbAddr first, std::uint64_t bytes, std::vector<Extent>& out) const;

  /// Why no address in the partition is beyond doubt; empty when none speaks against it.
  const std::string& doubt(std::uint16_t reference) const;
  /// The same of the block in which an entry stands, at this byte of the disc.
  const std::string& doubt(LbAddr block, std::uint64_t position) const;
  /// Where the block of a structure that stands at a byte of the disc and says that its block has this number is.
  /// Nothing: no partition has it there.
  std::optional<LbAddr> address_of(std::uint64_t position, std::uint32_t block) const;
  /// Whether a sparing table is lost that may have told more than those that are left.
  bool lacks_sparing_table(std::uint16_t reference) const { return spaces_[reference].sparing_lost; }
  bool known(std::uint16_t reference) const { return reference < spaces_.size() && spaces_[reference].known; }
  /// What is known of its tables, for people.
  void set_state(std::uint16_t reference, std::string words) { spaces_[reference].state = std::move(words); }
  std::vector<UdfFacts::Map> describe() const;
  const std::vector<Structure>& structures() const noexcept { return structures_; }

  /// Physical start and length, bytes of the disc, of what of it lies in the image, and how many bytes of it lie before
  /// that; nothing when the partition isn't known.
  struct Stretch {
    std::uint64_t position = 0, bytes = 0, lacks = 0;
  };
  std::optional<Stretch> physical(std::uint16_t reference) const;

 private:
  struct Space {
    PartitionMap map;
    bool known = false;          // there is a partition descriptor, on this volume
    std::uint64_t position = 0;  // of block 0, or of the image's first byte
    std::uint64_t lacks = 0;     // bytes of it that lie before the image's first
    std::uint64_t blocks = 0;
    std::vector<std::uint32_t> table;                            // virtual: block of the partition, by virtual block
    std::vector<std::pair<std::uint32_t, std::uint64_t>> moved;  // sparable: packet's first block, position; sorted
    MapFile main, mirror;                                        // metadata, and what has been placed
    std::vector<std::uint64_t> main_ends, mirror_ends;           // running sums of their extents' bytes
    std::string doubt, state;
    bool placed = false, sparing_lost = false;
    std::uint64_t doubtful_before = 0;
    std::set<std::uint32_t> contested;
    std::string placed_doubt;
  };
  struct Run {
    std::uint64_t position = 0;  // or kNowhere
    std::uint64_t bytes = 0;
  };

  void read_sparing_tables(const VolumeDescriptors& volume, Space& space, std::uint16_t reference, Findings& findings);
  /// The contiguous run that starts at a byte of a space and is at most `bytes` long.
  Run run_at(const Space& space, std::uint64_t offset, std::uint64_t bytes, int copy) const;
  static Run plain_run(const Space& space, std::uint64_t offset, std::uint64_t bytes);
  Run physical_run(const Space& space, std::uint64_t offset, std::uint64_t bytes) const;

  ByteReader& reader_;
  std::uint32_t block_bytes_;
  std::uint32_t sector_bytes_;
  std::vector<Space> spaces_;
  std::vector<Structure> structures_;
  mutable std::uint64_t extent_budget_;
};

}  // namespace lacuna::udf
