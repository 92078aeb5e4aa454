// SPDX-License-Identifier: GPL-3.0-or-later
// Free space: unallocated space entries (ECMA-167 4/14.11) and space bitmaps (4/14.12).
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "udf/decode/icb.h"
#include "udf/decode/tag.h"

namespace lacuna::udf {

/// Unallocated space entry, 4/14.11.
struct UnallocatedSpaceEntry {
  Tag tag;
  IcbTag icb;        ///< form() is that of the descriptors: short or long.
  Bytes allocation;  ///< Allocation descriptors of the free extents; cut when it runs over the block.
  bool cut = false;
  std::uint64_t bytes = 0;  ///< With descriptors as long as recorded; for check_tag.
};
/// Nothing: the tag's identifier is another one, or the fixed part isn't there.
std::optional<UnallocatedSpaceEntry> decode_unallocated_space_entry(Bytes block) noexcept;

/// Space bitmap descriptor, 4/14.12. UDF 2.3.7 (from memory): its tag's CRC may cover only the first 8 bytes after the
/// tag, or nothing, whatever the size of the bitmap: check_tag with kBitmapFixedBytes proves the counts only.
inline constexpr std::size_t kBitmapFixedBytes = 24;
struct SpaceBitmap {
  Tag tag;
  std::uint32_t bits = 0;          ///< As recorded: one a block, from block 0.
  std::uint32_t bitmap_bytes = 0;  ///< As recorded.
  Bytes bitmap;                    ///< What of it is in the input; set bits are free blocks.
  bool cut = false;                ///< The input holds fewer bytes than recorded.
  bool too_few_bytes = false;      ///< 4/14.12.3: bitmap_bytes can't hold `bits`.

  /// Free blocks in the part that is there.
  std::uint64_t free_blocks() const noexcept;
};
std::optional<SpaceBitmap> decode_space_bitmap(Bytes b) noexcept;

/// How many of the first `bits` bits are set; bit 0 is the lowest of the first byte (4/14.12.4). Bits beyond the bytes
/// don't count.
std::uint64_t count_set_bits(Bytes bitmap, std::uint64_t bits) noexcept;

}  // namespace lacuna::udf
