// SPDX-License-Identifier: GPL-3.0-or-later
// The descriptors of volume descriptor sequences and the anchor that leads to them (ECMA-167 3/10).
// All decoders here: nothing when the tag's identifier is another one or the fixed fields aren't there. Of the tag only
// the identifier is looked at: whether the fields are proven, check_tag(b, location, result.bytes) says.
// Views are into the input. Text fields are dstrings (cs0.h).
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "lacuna/timestamp.h"
#include "udf/decode/basic.h"
#include "udf/decode/tag.h"

namespace lacuna::udf {

/// 3/8.4.2: no descriptor is longer than a sector; the fixed ones take 512 bytes, of which the last may be reserved.
inline constexpr std::size_t kVolumeDescriptorBytes = 512;

/// What a decoded descriptor has against the standard; a bit set.
namespace volume_problem {
inline constexpr std::uint32_t kTime = 1;         ///< A time isn't one, or its zone or fraction is out of range.
inline constexpr std::uint32_t kCharspec = 2;     ///< UDF 2.1.2: not OSTA compressed Unicode.
inline constexpr std::uint32_t kText = 4;         ///< 1/7.2.12: a dstring's count or compression id is impossible.
inline constexpr std::uint32_t kTableBeyond = 8;  ///< A table runs over the end of the descriptor; its view is cut.
inline constexpr std::uint32_t kBlockSize = 16;   ///< LVD: not a power of two from 512 to 32768.
inline constexpr std::uint32_t kExtent =
    32;  ///< An extent is longer than 3/7.1 allows, or one is empty that must not be.
inline constexpr std::uint32_t kIdentifier = 64;   ///< A regid is not the one that UDF demands.
inline constexpr std::uint32_t kAccessType = 128;  ///< PD: none of UDF 2.2.14's.
}  // namespace volume_problem

/// Anchor volume descriptor pointer, 3/10.2.
struct Anchor {
  Tag tag;
  ExtentAd main, reserve;      ///< The volume descriptor sequences; one of them may be empty.
  std::uint64_t bytes = 0;     ///< What the fields take, tag included.
  std::uint32_t problems = 0;  ///< volume_problem
};
std::optional<Anchor> decode_anchor(Bytes b) noexcept;

/// Primary volume descriptor, 3/10.1.
struct PrimaryVolume {
  Tag tag;
  std::uint32_t sequence = 0;  ///< Volume descriptor sequence number: the highest wins.
  std::uint32_t number = 0;
  Bytes volume_id;                  ///< dstring of 32 bytes.
  std::uint16_t volume_number = 0;  ///< Volume sequence number: which of its set it is, from 1.
  std::uint16_t max_volume_number = 0;
  std::uint16_t interchange_level = 0;
  Bytes volume_set_id;  ///< dstring of 128 bytes.
  Regid application, implementation;
  Timestamp recorded;
  std::uint16_t flags = 0;
  std::uint64_t bytes = 0;
  std::uint32_t problems = 0;  ///< volume_problem
};
std::optional<PrimaryVolume> decode_primary_volume(Bytes b) noexcept;

/// Volume descriptor pointer, 3/10.3: the sequence goes on elsewhere.
struct VolumePointer {
  Tag tag;
  std::uint32_t sequence = 0;
  ExtentAd next;
  std::uint64_t bytes = 0;
  std::uint32_t problems = 0;  ///< volume_problem
};
std::optional<VolumePointer> decode_volume_pointer(Bytes b) noexcept;

/// Implementation use volume descriptor, 3/10.4; with "*UDF LV Info" also UDF 2.2.7.
struct ImplementationUseVolume {
  Tag tag;
  std::uint32_t sequence = 0;
  Regid implementation;
  bool is_lv_info = false;  ///< The following are set only then.
  Bytes logical_volume_id;  ///< dstring of 128 bytes.
  Bytes info[3];            ///< dstrings of 36 bytes: owner, organization, contact in the standard's example.
  Regid lv_info_writer;
  std::uint64_t bytes = 0;
  std::uint32_t problems = 0;  ///< volume_problem
};
std::optional<ImplementationUseVolume> decode_implementation_use_volume(Bytes b) noexcept;

/// 3/10.5.7, UDF 2.2.14.2.
enum class AccessType : std::uint32_t {
  kPseudoOverwritable = 0,  ///< UDF 2.60; "not specified" in ECMA-167.
  kReadOnly = 1,
  kWriteOnce = 2,
  kRewritable = 3,  ///< Must be prepared before it is written again.
  kOverwritable = 4,
};

/// 4/14.3, in a partition descriptor's contents use: where free space is described. Each may be none().
struct PartitionHeader {
  ShortAd unallocated_table, unallocated_bitmap, integrity_table, freed_table, freed_bitmap;
};

/// Partition descriptor, 3/10.5.
struct Partition {
  Tag tag;
  std::uint32_t sequence = 0;
  std::uint16_t flags = 0;   ///< Bit 0: space has been allocated for it.
  std::uint16_t number = 0;  ///< What partition maps name it by.
  Regid contents;            ///< "+NSR02" or "+NSR03".
  PartitionHeader header;    ///< Set when `contents` is one of those.
  AccessType access = AccessType::kPseudoOverwritable;
  std::uint32_t start_sector = 0;
  std::uint32_t length_sectors = 0;
  Regid implementation;
  std::uint64_t bytes = 0;
  std::uint32_t problems = 0;  ///< volume_problem

  bool is_nsr() const noexcept { return contents.is("+NSR02") || contents.is("+NSR03"); }
};
std::optional<Partition> decode_partition(Bytes b) noexcept;

/// Logical volume descriptor, 3/10.6.
struct LogicalVolume {
  Tag tag;
  std::uint32_t sequence = 0;
  Bytes volume_id;                ///< dstring of 128 bytes.
  std::uint32_t block_bytes = 0;  ///< Logical block size.
  Regid domain;                   ///< "*OSTA UDF Compliant"; its revision() is that of the volume.
  LongAd file_set;                ///< 4/3.1: the file set descriptor sequence.
  std::uint32_t map_count = 0;    ///< As recorded.
  Bytes maps;                     ///< Partition maps: for PartitionMapReader. Cut when it runs over the end.
  Regid implementation;
  ExtentAd integrity;          ///< Integrity sequence; may be none().
  std::uint64_t bytes = 0;     ///< With the maps as long as recorded.
  std::uint32_t problems = 0;  ///< volume_problem
};
std::optional<LogicalVolume> decode_logical_volume(Bytes b) noexcept;

/// Unallocated space descriptor, 3/10.8.
struct UnallocatedSpace {
  Tag tag;
  std::uint32_t sequence = 0;
  std::uint32_t count = 0;     ///< As recorded.
  Bytes extents;               ///< Of 8 bytes each, as many as are there.
  std::uint64_t bytes = 0;     ///< With the extents as many as recorded.
  std::uint32_t problems = 0;  ///< volume_problem

  std::size_t size() const noexcept { return extents.size() / kExtentAdBytes; }
  ExtentAd operator[](std::size_t i) const noexcept { return extent_ad_at(extents, i * kExtentAdBytes); }
};
std::optional<UnallocatedSpace> decode_unallocated_space(Bytes b) noexcept;

/// Terminating descriptor, 3/10.9 and 4/14.2.
struct Terminating {
  Tag tag;
  bool rest_zero = false;   ///< As it must be.
  std::uint64_t bytes = 0;  ///< The tag's only.
};
std::optional<Terminating> decode_terminating(Bytes b) noexcept;

/// Logical volume integrity descriptor, 3/10.10.
struct Integrity {
  Tag tag;
  Timestamp recorded;
  std::uint32_t type = 0;            ///< 0 open, 1 closed.
  ExtentAd next;                     ///< The next integrity extent; may be none().
  std::uint64_t next_unique_id = 0;  ///< 4/14.15
  std::uint32_t partitions = 0;      ///< As recorded.
  Bytes free_table, size_table;      ///< Of 4 bytes a partition; both empty when they run over the end.

  // Implementation use, UDF 2.2.6.4; set when has_use.
  bool has_use = false;
  Regid implementation;
  std::uint32_t files = 0, directories = 0;
  std::uint16_t min_read = 0, min_write = 0, max_write = 0;  ///< UDF revisions in BCD.

  std::uint64_t bytes = 0;     ///< With tables and use as long as recorded.
  std::uint32_t problems = 0;  ///< volume_problem

  bool is_closed() const noexcept { return type == 1; }
  /// Blocks, of partition map `i`; nothing when not recorded (FFFFFFFF is "not specified").
  std::optional<std::uint32_t> free_blocks(std::size_t i) const noexcept;
  std::optional<std::uint32_t> size_blocks(std::size_t i) const noexcept;
};
std::optional<Integrity> decode_integrity(Bytes b) noexcept;

}  // namespace lacuna::udf
