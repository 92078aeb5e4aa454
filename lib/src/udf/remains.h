// SPDX-License-Identifier: GPL-3.0-or-later
// Remains: every ECMA-167 structure that proves itself, wherever it stands, found without anything that leads to it.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "base/bytes.h"
#include "lacuna/range_set.h"
#include "udf/decode/basic.h"

namespace lacuna::udf {

/// A descriptor of a volume (ECMA-167 3/10), or one of part 4 that is neither a file's entry nor its identifier.
struct DescriptorRemnant {
  std::uint64_t position = 0;    ///< Byte address on the disc.
  std::uint32_t location = 0;    ///< Of its tag: where it says that it stands (3/7.2.8, 4/7.2).
  std::uint16_t identifier = 0;  ///< tag_id
  std::uint16_t crc = 0;         ///< Of its tag: copies of one descriptor have the same.
};

/// A file entry or extended file entry (4/14.9, 4/14.17).
struct EntryRemnant {
  std::uint64_t position = 0;
  std::uint64_t unique_id = 0;
  std::uint32_t location = 0;
  std::uint16_t crc = 0;
  std::uint16_t links = 0;
  std::uint16_t strategy = 0;  ///< 4, or 4096: there may be newer states.
  std::uint8_t file_type = 0;  ///< file_type of the ICB tag
  bool is_directory = false;
  bool first_state = true;  ///< 4/14.6.1: no direct entry comes before it in its ICB.
};

/// A file identifier (4/14.4). Readers get its name from the image.
struct IdentifierRemnant {
  std::uint64_t position = 0;
  std::uint32_t location = 0;
  std::uint32_t unique_id = 0;  ///< Low half of the entry's that it names, from UDF 2.00 on; 0: not recorded.
  LbAddr icb;                   ///< What it names; of a deleted one it may be erased.
  std::uint32_t icb_bytes = 0;
  std::uint16_t length = 0;          ///< With padding, bytes.
  std::uint8_t characteristics = 0;  ///< fid_flag

  bool is_parent() const noexcept;
  bool is_deleted() const noexcept;
  bool is_directory() const noexcept;
};

/// What is left of UDF volumes in the sectors looked at. A structure counts when its tag's checksum and its CRC are
/// right, over all its fields (of allocation extents and space bitmaps UDF lets the CRC cover the head only); where it
/// stands is compared with nothing here. For one thread until finish(); afterwards constant and safe to share.
class Remains {
 public:
  /// Of each of the lists; what is found beyond is counted only.
  static constexpr std::size_t kMostOfAKind = std::size_t{1} << 22;

  /// Structures that start in the first `own_bytes` of `bytes`, which stand at byte address `position` of the disc (a
  /// multiple of 2048) and were all read; what follows is there for structures that run over. In any order.
  void look_at(Bytes bytes, std::size_t own_bytes, std::uint64_t position);
  void add(Remains&& other);
  /// Sorts by position and drops what was found twice.
  void finish();

  bool empty() const noexcept { return descriptors_.empty() && entries_.empty() && identifiers_.empty(); }
  /// LBAs in which any of it starts.
  RangeSet sectors() const;
  /// How many structures were too many to be kept.
  std::uint64_t dropped() const noexcept { return dropped_; }

  /// Ascending by position, each.
  const std::vector<DescriptorRemnant>& descriptors() const noexcept { return descriptors_; }
  const std::vector<EntryRemnant>& entries() const noexcept { return entries_; }
  const std::vector<IdentifierRemnant>& identifiers() const noexcept { return identifiers_; }

 private:
  void take_descriptor(Bytes rest, std::uint16_t identifier, std::uint64_t position);
  void take_entry(Bytes rest, std::uint64_t position);
  void take_identifier(Bytes rest, std::uint64_t position);

  std::vector<DescriptorRemnant> descriptors_;
  std::vector<EntryRemnant> entries_;
  std::vector<IdentifierRemnant> identifiers_;
  std::uint64_t dropped_ = 0;
};

}  // namespace lacuna::udf
