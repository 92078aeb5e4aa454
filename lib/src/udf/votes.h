// SPDX-License-Identifier: GPL-3.0-or-later
// Votes: a structure at one place says which number its block or sector has; all that agree on where block 0 is belong
// together.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "lacuna/range_set.h"
#include "media/byte_reader.h"
#include "udf/remains.h"

namespace lacuna::udf {

/// Structures that agree on where block 0 is.
struct Frame {
  std::int64_t start = 0;   ///< Byte address of block 0; may lie before the disc's first byte.
  std::uint64_t votes = 0;  ///< Blocks whose structures say so.
};

/// A block that a structure of part 4 says it stands in.
struct TaggedBlock {
  std::uint32_t block = 0;
  std::uint64_t position = 0;
  std::uint16_t crc = 0;        ///< Of the first structure in it.
  std::uint64_t unique_id = 0;  ///< Of an entry; kNoEntry: there is none.

  static constexpr std::uint64_t kNoEntry = ~std::uint64_t{0};
};

/// Whether a structure stands in the physical partition itself, whatever lies over it: the files of partition maps and
/// what describes space (UDF 2.2.11, 2.2.13, ECMA-167 4/14.11, 4/14.12).
bool is_physical(const EntryRemnant& e);
bool is_physical(const DescriptorRemnant& d);
bool is_part_4(const DescriptorRemnant& d);

/// Of all structures of part 4 but those of is_physical(), ascending by position, one for each block.
std::vector<TaggedBlock> tagged_blocks(const Remains& remains, std::uint32_t block_bytes);
std::vector<TaggedBlock> physical_blocks(const Remains& remains, std::uint32_t block_bytes);

/// The frames, most votes first; of equals the first on the disc.
std::vector<Frame> count_votes(const std::vector<TaggedBlock>& blocks, std::uint32_t block_bytes);

/// The block size: that of the sectors which descriptors of the volume number, else of those that the lengths of files
/// and the places of structures allow the one by which most structures agree.
std::uint32_t vote_block_bytes(ByteReader& reader, const Remains& remains);

/// Whether an entry that stands in one of `blocks` tells of data that begins behind `end_byte`.
bool reaches_beyond(ByteReader& reader, const std::vector<TaggedBlock>& blocks, std::uint32_t block_bytes,
                    std::int64_t start, std::uint64_t end_byte);

/// Stretches of the disc that files fill whose entries stand in one of `blocks`, when block 0 of the partition that
/// their data lies in is at `start`. What lies within them is content: an image of a disc stored as a file.
RangeSet contents_of(ByteReader& reader, const std::vector<TaggedBlock>& blocks, std::uint32_t block_bytes,
                     std::int64_t start);

}  // namespace lacuna::udf
