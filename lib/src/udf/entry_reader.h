// SPDX-License-Identifier: GPL-3.0-or-later
// Entries: from the address of an ICB (ECMA-167 4/8.10, 4/14.6) to the file entry that counts, and from its allocation
// descriptors (4/12) to where the content lies.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/disc.h"
#include "media/byte_reader.h"
#include "udf/decode/file_entry.h"
#include "udf/partitions.h"

namespace lacuna::udf {

/// A file entry as read, with the bytes that its views lie in: to be moved, not copied.
struct Entry {
  Entry() = default;
  Entry(Entry&&) = default;
  Entry& operator=(Entry&&) = default;

  std::vector<std::uint8_t> block;
  FileEntry entry;
  LbAddr address;              ///< Of the entry itself.
  std::uint64_t position = 0;  ///< The same, byte address on the disc.
  /// Why what it says is not beyond doubt; empty when it is proven.
  std::vector<std::string> doubts;
  bool suspect = false;  ///< Its sector is.
};

/// Why there is no entry.
struct NoEntry {
  std::string why;
  std::optional<std::uint64_t> position;
};

/// A stretch of a file's content, in file order.
struct ContentPiece {
  ExtentType type = ExtentType::kRecorded;
  LbAddr block;  ///< kRecorded
  std::uint64_t bytes = 0;
};

struct Content {
  std::vector<ContentPiece> pieces;  ///< Not of embedded content.
  bool embedded = false;
  std::uint64_t embedded_position = 0;  ///< Byte address on the disc.
  std::uint64_t bytes = 0;              ///< Information length.
  std::vector<std::string> doubts;
  bool cut = false;  ///< Descriptors are lost: the pieces hold less than `bytes`.
};

/// For one thread.
class EntryReader {
 public:
  EntryReader(ByteReader& reader, const Partitions& partitions);

  /// The entry that counts of the ICB at `icb`: the newest by strategy 4096 (UDF 2.3.5.1), the mirror's where the
  /// metadata file's own is lost. Nothing: `why_not` says why.
  std::optional<Entry> read(const LongAd& icb, NoEntry& why_not);
  /// What stands in one block, for looking around: no chain is followed.
  std::optional<Entry> read_block(LbAddr address, NoEntry& why_not);

  /// Follows the descriptors to `limit` bytes at most.
  Content content(const Entry& entry, std::uint64_t limit = ~std::uint64_t{0});
  /// Where the content lies, as extents of a node.
  std::vector<Extent> extents(const Content& content) const;
  /// Reads content into memory: `missing` are byte offsets in it of which there are no bytes (zero in the result). What
  /// is more than `limit` bytes long is cut there. Where blocks are recorded twice, `first_copy` is tried first.
  std::vector<std::uint8_t> read_content(const Content& content, std::uint64_t limit, RangeSet& missing, bool& suspect,
                                         int first_copy = 0);

  /// Blocks that entries, chains and allocation extents stand in, since the last call; nodes are not set.
  std::vector<Structure> take_structures() { return std::move(structures_); }

 private:
  std::optional<Entry> read_copy(LbAddr address, std::uint64_t position, NoEntry& why_not);
  std::optional<Entry> follow_chain(const LongAd& icb, NoEntry& why_not);
  Bytes read_allocation_extent(LbAddr address, std::uint64_t bytes, std::vector<std::uint8_t>& block, Content& content,
                               std::string& why);
  bool take_descriptors(Bytes area, AllocationForm form, std::uint16_t partition, std::uint64_t limit, Content& content,
                        std::uint64_t& done, std::optional<ContentPiece>& next);

  ByteReader& reader_;
  const Partitions& partitions_;
  std::vector<Structure> structures_;
  std::uint64_t chain_budget_;  // blocks of chains, on the whole disc
};

}  // namespace lacuna::udf
