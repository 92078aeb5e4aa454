// SPDX-License-Identifier: GPL-3.0-or-later
// Partition maps (ECMA-167 3/10.7, UDF 2.2.8 to 2.2.10): how partition reference numbers become partitions.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "udf/decode/basic.h"

namespace lacuna::udf {

enum class PartitionMapKind : std::uint8_t {
  kPhysical,  ///< Type 1, 3/10.7.2.
  kVirtual,   ///< UDF 2.2.8: blocks are looked up in the virtual allocation table.
  kSparable,  ///< UDF 2.2.9: packets are looked up in sparing tables.
  kMetadata,  ///< UDF 2.2.10: blocks are those of the metadata file.
  kUnknown,   ///< Another type or identifier; only type, identifier and raw are set.
};

/// What a map has against the standard; a bit set.
namespace map_problem {
inline constexpr std::uint32_t kLength = 1;         ///< 3/10.7: not 6 (type 1) or 64 (type 2) bytes.
inline constexpr std::uint32_t kPacketLength = 2;   ///< UDF 2.2.9: 0 blocks, or not a power of two.
inline constexpr std::uint32_t kSparingTables = 4;  ///< UDF 2.2.9: no sparing table or more than 4.
inline constexpr std::uint32_t kUnits = 8;          ///< UDF 2.2.10: an allocation or alignment unit of 0.
}  // namespace map_problem

struct PartitionMap {
  PartitionMapKind kind = PartitionMapKind::kUnknown;
  std::uint8_t type = 0;
  std::uint16_t reference = 0;         ///< Its partition reference number: index in the table.
  std::uint16_t volume_number = 0;     ///< Volume sequence number of the volume that the partition lies on.
  std::uint16_t partition_number = 0;  ///< Matches Partition::number.
  Regid identifier;                    ///< Type 2; its revision() is a UDF revision.
  std::uint32_t problems = 0;          ///< map_problem
  Bytes raw;

  // kSparable
  std::uint16_t packet_blocks = 0;
  std::uint8_t sparing_tables = 0;  ///< Valid entries of the array, at most 4.
  std::uint32_t sparing_table_bytes = 0;
  std::array<std::uint32_t, 4> sparing_table_sector{};

  // kMetadata: blocks of the partition in which the file entries stand.
  static constexpr std::uint32_t kNoFile = 0xffffffff;
  std::uint32_t metadata_block = kNoFile, mirror_block = kNoFile, bitmap_block = kNoFile;
  std::uint32_t allocation_unit_blocks = 0;
  std::uint16_t alignment_unit_blocks = 0;
  std::uint8_t metadata_flags = 0;
  /// The mirror has data of its own; else both file entries share one set of extents.
  bool mirror_is_copy() const noexcept { return (metadata_flags & 1) != 0; }
};

/// Walks over a logical volume's maps, bounded by the count as well as by the table.
class PartitionMapReader {
 public:
  enum class Stop : std::uint8_t {
    kNone,       ///< There may be more.
    kEnd,        ///< As many maps as counted.
    kTooFew,     ///< The table ends before the count is reached.
    kBadLength,  ///< A map is shorter than its fields or runs over the end: what follows can't be found.
  };

  PartitionMapReader(Bytes maps, std::uint32_t count) noexcept : rest_(maps), count_(count) {}

  std::optional<PartitionMap> next() noexcept;
  Stop stop() const noexcept { return stop_; }

 private:
  Bytes rest_;
  std::uint32_t count_;
  std::uint32_t done_ = 0;
  Stop stop_ = Stop::kNone;
};

}  // namespace lacuna::udf
