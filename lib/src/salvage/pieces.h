// SPDX-License-Identifier: GPL-3.0-or-later
// Pieces: the contiguous stretches of the disc that files lie on, in flat arrays. Everything that holds files against
// sector states works on these. Interleaved extents are taken apart; what lies outside the image is never iterated.
// Extents that were never recorded are on no piece: they are kept apart as stretches of zeros. Of content that is whole
// sectors, "as stored" counts kSectorBytes of each, as extents do (disc/raw_content.h).
#pragma once

#include <algorithm>
#include <cstdint>
#include <span>
#include <vector>

#include "lacuna/blocks.h"
#include "lacuna/image.h"
#include "lacuna/range_set.h"
#include "lacuna/tree.h"

namespace lacuna {

/// The byte addresses that an image has bytes for: from its first sector to the byte behind its last one.
Range byte_window(const Image& image) noexcept;

/// A contiguous stretch of the disc that holds bytes of one file.
struct FilePiece {
  std::uint64_t position = 0;  ///< Byte address on the disc.
  std::uint64_t bytes = 0;
  std::uint64_t offset = 0;  ///< Of its first byte, within the file as stored.
  NodeId node = kNoNode;
  std::uint32_t first_run = 0;  ///< For the user: where in a list of runs this piece begins.

  std::uint64_t end() const noexcept { return position + bytes; }
};

/// A part of a file that lies outside the window. Of an interleaved extent it is the span from the part's first
/// byte to its last.
struct OutsidePart {
  std::uint64_t position = 0;
  std::uint64_t end = 0;     ///< Behind its last byte on the disc; saturated.
  std::uint64_t offset = 0;  ///< Within the file as stored.
  std::uint64_t bytes = 0;
  NodeId node = kNoNode;
};

/// A part of a file that was never recorded and reads as zeros (kZeros): whole, whatever the image holds.
struct ZeroStretch {
  std::uint64_t offset = 0;  ///< Within the file as stored.
  std::uint64_t bytes = 0;
  NodeId node = kNoNode;

  std::uint64_t end() const noexcept { return offset + bytes; }
};

struct PieceList {
  LargeVector<FilePiece> pieces;     ///< Inside the window, by node and then by offset.
  LargeVector<ZeroStretch> zeros;    ///< By node and then by offset; neighbours are joined.
  std::vector<OutsidePart> outside;  ///< Only when asked for.
  /// Files whose place speaks against no other's, ascending: boot images, which are copied from or laid over other
  /// files by design, files that stand for audio tracks, and deleted files, whose place may be in use again.
  std::vector<NodeId> aside;
  std::vector<NodeId> untaken;  ///< Files with interleaved extents of more pieces than are taken apart.
  bool whole_sectors = false;   ///< Whether some file's content is whole sectors.
};

/// Interleaved extents are taken apart into at most this many pieces a disc; an interleaved file that fills a
/// dual-layer DVD has half of it.
inline constexpr std::uint64_t kMaxInterleavedPieces = std::uint64_t{1} << 22;

/// True when the stored offsets of a file's bytes are those of its content.
bool is_stored_plain(const Tree& tree, const Node& node);
/// Bytes of a file as stored that its extents account for: of a file stored plain not more than its size.
std::uint64_t stored_bytes(const Tree& tree, const Node& node);
/// True when the file's content is stored compressed, so that stored and plain offsets differ.
bool is_compressed(const Tree& tree, const Node& node);

/// The pieces of all regular files whose place is known. Linear in extents plus pieces.
PieceList collect_pieces(const Tree& tree, Range window, bool with_outside = false);

/// Indices of the pieces in ascending order of their positions, shorter ones first among equals.
LargeVector<std::uint32_t> by_position(std::span<const FilePiece> pieces);

/// Where byte `offset` of an extent that has a place lies, and how many follow it contiguously. `offset` < e.bytes.
struct ExtentPart {
  std::uint64_t position = 0;
  std::uint64_t bytes = 0;
};
ExtentPart extent_part_at(const Extent& e, std::uint64_t offset) noexcept;

/// How many bytes of an extent that has a place lie before a byte address of the disc.
std::uint64_t bytes_before(const Extent& e, std::uint64_t position) noexcept;

/// Index of the first of `items` (in ascending order, disjoint) whose end() is greater than `at`, searched by galloping
/// from `hint`, before which none is. O(log distance).
template <class T>
std::size_t gallop_to_end_after(std::span<const T> items, std::size_t hint, std::uint64_t at) {
  std::size_t step = 1;
  std::size_t low = hint;
  while (low + step <= items.size() && items[low + step - 1].end() <= at) {
    low += step;
    step *= 2;
  }
  const std::size_t high = low + step <= items.size() ? low + step : items.size();
  const auto range = items.subspan(low, high - low);
  const auto found = std::partition_point(range.begin(), range.end(), [at](const T& x) { return x.end() <= at; });
  return low + static_cast<std::size_t>(found - range.begin());
}

}  // namespace lacuna
