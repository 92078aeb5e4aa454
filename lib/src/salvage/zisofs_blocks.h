// SPDX-License-Identifier: GPL-3.0-or-later
// zisofs: which stored bytes each block of a compressed file needs. Judging and reading both rest on this, so that
// they can't disagree. Format: docs/formats/iso9660, after libisofs' doc/zisofs_format.txt and zisofs2_format.txt.
//
// A file is a header, a table of pointers (one a block and one more, absolute in the stored file, never decreasing)
// and the blocks: block i is the zlib stream [pointer i, pointer i+1), or zeros when that is empty.
#pragma once

#include <cstdint>
#include <vector>

#include "lacuna/states.h"
#include "lacuna/tree.h"
#include "salvage/stored_reader.h"

namespace lacuna {

/// What the stored file's own header says beside the directory's facts, which decoding goes by.
enum class ZisofsHeader : std::uint8_t {
  kAgrees,
  kUnreadable,  ///< Its bytes are missing; the directory's copy serves.
  kNoMagic,     ///< No zisofs header stands there.
  kDisagrees,   ///< Another size, block size, algorithm or header length.
};

class ZisofsBlocks {
 public:
  /// Longest table that is read; larger files than it can describe (128 GiB at 32 KiB blocks) are not decoded.
  static constexpr std::uint64_t kMaxBlocks = std::uint64_t{1} << 22;

  /// Reads the header and the pointer table. `plain_bytes` is the file's decoded size.
  ZisofsBlocks(StoredReader& stored, const Zisofs& facts, std::uint64_t plain_bytes);

  /// Bytes of header and table that the facts call for, without reading anything.
  static std::uint64_t table_bytes(const Zisofs& facts, std::uint64_t plain_bytes);

  ZisofsHeader header() const noexcept { return header_; }
  /// False when the facts can't be those of a zisofs file (block size, header size): no block can be decoded.
  bool usable() const noexcept { return usable_; }
  /// False when a pointer that was read is smaller than one before it, or none of a stored file's.
  bool table_consistent() const noexcept { return table_consistent_; }

  std::uint64_t count() const noexcept { return count_; }
  std::uint32_t block_bytes() const noexcept { return block_bytes_; }
  /// Decoded bytes of block i: all are block_bytes() but the last.
  std::uint32_t plain_bytes_of(std::uint64_t i) const noexcept;

  struct Block {
    std::uint64_t first = 0, end = 0;  ///< Stored bytes; empty: the block is all zeros.
    /// The worse of its two pointers' states; without bytes the block can't be found and first and end mean nothing.
    SectorState pointers = SectorState::kGood;
  };
  Block block(std::uint64_t i) const noexcept;

 private:
  void read_header(StoredReader& stored, const Zisofs& facts);
  void read_table(StoredReader& stored, const Zisofs& facts);
  void settle_table();

  ZisofsHeader header_ = ZisofsHeader::kAgrees;
  bool usable_ = false;
  bool table_consistent_ = true;
  std::uint64_t plain_bytes_;
  std::uint64_t stored_bytes_;
  std::uint64_t count_ = 0;
  std::uint32_t block_bytes_ = 0;
  std::uint64_t table_end_ = 0;
  std::vector<std::uint64_t> pointers_;
  std::vector<SectorState> states_;  // of the pointers
};

}  // namespace lacuna
