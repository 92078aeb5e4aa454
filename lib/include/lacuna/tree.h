// SPDX-License-Identifier: GPL-3.0-or-later
// Tree: the files and directories of a disc, each with its names in every view, its extents and its evidence.
// Kept in flat arrays, because discs hold hundreds of thousands of files.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "lacuna/blocks.h"
#include "lacuna/chunked_array.h"
#include "lacuna/export.h"
#include "lacuna/states.h"
#include "lacuna/text_arena.h"
#include "lacuna/timestamp.h"
#include "lacuna/tracks.h"

namespace lacuna {

using NodeId = std::uint32_t;
inline constexpr NodeId kRoot = 0;
inline constexpr NodeId kNoNode = ~NodeId{0};

enum class NodeKind : std::uint8_t { kDirectory, kFile, kSymlink, kBlockDevice, kCharDevice, kFifo, kSocket };
LACUNA_API std::string_view to_string(NodeKind) noexcept;

/// Extent::position of bytes that were never recorded and read as zeros (ECMA-167 4/14.14.1.1): nothing can be missing.
inline constexpr std::uint64_t kZeros = ~std::uint64_t{0};
/// Extent::position of bytes whose place can't be known any more: missing, whatever the image holds.
inline constexpr std::uint64_t kNowhere = kZeros - 1;

/// A piece of a file on the disc. Addresses are in bytes because logical blocks may be smaller than sectors:
/// position = LBA * kSectorBytes + byte within the sector; or kZeros, or kNowhere.
struct LACUNA_API Extent {
  std::uint64_t position = 0;
  std::uint64_t bytes = 0;  ///< Content bytes; gaps of an interleaved file do not count.
  /// Interleaved recording (ECMA-119 6.4.3): unit_bytes of content, gap_bytes of other data, and so on. 0: contiguous.
  std::uint32_t unit_bytes = 0;
  std::uint32_t gap_bytes = 0;

  bool has_place() const noexcept { return position < kNowhere; }

  friend bool operator==(const Extent&, const Extent&) = default;
};

/// Calls f(position, bytes) for each contiguous piece of an extent that has a place, in order, as long as f gives true.
template <class F>
void for_each_piece(const Extent& e, F&& f) {
  if (!e.has_place()) return;
  if (e.unit_bytes == 0 || e.gap_bytes == 0 || e.bytes <= e.unit_bytes) {
    if (e.bytes != 0) f(e.position, e.bytes);
    return;
  }
  std::uint64_t position = e.position;
  for (std::uint64_t left = e.bytes; left != 0;) {
    const std::uint64_t piece = left < e.unit_bytes ? left : e.unit_bytes;
    if (!f(position, piece)) return;
    left -= piece;
    position += std::uint64_t{e.unit_bytes} + e.gap_bytes;
  }
}

/// Content that is stored compressed (zisofs): what is needed to decode it.
struct LACUNA_API Zisofs {
  std::uint8_t version = 1;
  std::uint8_t algorithm = 1;     ///< 1 zlib; others are listed, not decoded.
  std::uint8_t header_words = 4;  ///< Header size in units of 4 bytes.
  std::uint8_t block_size_log2 = 15;
  std::uint64_t plain_bytes = 0;
};

/// What only some discs tell of a file. Absent facts are empty.
struct LACUNA_API NodeDetails {
  std::optional<std::uint32_t> mode;  ///< POSIX st_mode, file type bits included (RRIP PX).
  std::uint32_t links = 0, user = 0, group = 0;
  std::uint64_t serial = 0;  ///< File serial number (RRIP 1.12 PX), 0: none.
  std::uint64_t device = 0;  ///< RRIP PN, high << 32 | low.
  TextRef symlink_target;
  Timestamp created, accessed, attributes_changed;
  std::optional<Zisofs> zisofs;
  std::optional<std::uint16_t> xa_attributes;  ///< CD-ROM XA attribute word.
  std::uint16_t xa_group = 0, xa_user = 0;     ///< What stands beside it.
  std::uint8_t xa_file_number = 0;
};

/// Bytes of the header that stands before whole sectors in the content of a node, whichever it is.
inline constexpr std::uint32_t kRiffHeaderBytes = 44;

/// Content that is whole sectors of a CD (node_flag::kRawSectors): a header that is made, not read, and then
/// kRawSectorBytes for each sector. The node's extents count kSectorBytes of each, as directory records do.
struct LACUNA_API RawContent {
  enum class Header : std::uint8_t {
    kWave,  ///< "WAVE": 16 bit stereo at 44.1 kHz.
    kCdxa,  ///< "CDXA": sectors with all that is in them.
  };
  Header header = Header::kWave;
  std::optional<std::uint32_t> track;  ///< Number of the track that it is; nothing: a file of a file system.
  std::string title, performer;        ///< Of the track (CD-Text), UTF-8.
};

/// Facts about a node that are either so or not.
namespace node_flag {
inline constexpr std::uint16_t kHidden = 1;        ///< ECMA-119 9.1.6 existence bit.
inline constexpr std::uint16_t kAssociated = 2;    ///< Associated file (such as a resource fork).
inline constexpr std::uint16_t kUnlocated = 4;     ///< Where the data lies is not known.
inline constexpr std::uint16_t kBoot = 8;          ///< Made from an El Torito catalog, under `_boot/`.
inline constexpr std::uint16_t kSizeGuessed = 16;  ///< The disc does not record the size (boot images).
inline constexpr std::uint16_t kRelocated = 32;    ///< Taken from RR_MOVED to its own place (RRIP CL/RE).
inline constexpr std::uint16_t kIncomplete = 64;   ///< A directory of which not every record could be read.
inline constexpr std::uint16_t kUnread = 128;      ///< A directory of which no record could be read.
inline constexpr std::uint16_t kDeleted = 256;     ///< Its name is marked as deleted (ECMA-167 4/14.4.3).
inline constexpr std::uint16_t kStream = 512;   ///< A named stream of a file (ECMA-167 4/9.2), listed as `FILE:STREAM`.
inline constexpr std::uint16_t kSystem = 1024;  ///< Marked as system file (ECMA-167 4/14.6.8), or a system stream.
inline constexpr std::uint16_t kOrphans = 2048;   ///< The folder `_orphans/`: what has lost its parent hangs here.
inline constexpr std::uint16_t kNameMade = 4096;  ///< No surviving byte names it: the name was made from its place.
/// Its content is whole 2352-byte sectors behind a header of kRiffHeaderBytes (RawContent).
inline constexpr std::uint16_t kRawSectors = 8192;
}  // namespace node_flag

/// A file or directory, or what else a directory can name.
struct LACUNA_API Node {
  NodeId parent = kNoNode;
  NodeId first_child = kNoNode;
  NodeId next_sibling = kNoNode;
  std::uint32_t first_extent = 0;
  std::uint32_t extent_count = 0;
  std::uint32_t details = 0;  ///< Index into Tree's details; 0: none.
  std::uint64_t size =
      0;  ///< Content bytes, decoded where the content is stored compressed. Directories: recorded length.
  Timestamp modified;
  std::array<TextRef, kViewCount> names{};  ///< By View; an empty one: that view does not name the node.
  NodeKind kind = NodeKind::kFile;
  View view = View::kIso9660;  ///< The view that its path's last name is from.
  Evidence evidence = Evidence::kTree;
  std::uint16_t flags = 0;
  std::uint16_t version = 0;  ///< ECMA-119 7.5 version number; 0: none recorded.

  bool is_directory() const noexcept { return kind == NodeKind::kDirectory; }
  bool has(std::uint16_t flag) const noexcept { return (flags & flag) != 0; }
};

/// Names in a tree are UTF-8 without '/', NUL or control characters: bytes that can't be decoded and those characters
/// stand as %HH, and so do the names "." and ".." and a '%' that two hexadecimal digits follow; the form can be undone.
/// Safe for concurrent reading; building is for one thread.
class LACUNA_API Tree {
 public:
  Tree();  ///< Holds the root directory.

  // Reading.
  const Node& node(NodeId id) const { return nodes_[id]; }
  std::size_t size() const noexcept { return nodes_.size(); }
  std::span<const Extent> extents(const Node& n) const;
  std::string_view text(TextRef r) const { return text_.get(r); }
  /// The name in the node's own best view.
  std::string_view name(const Node& n) const { return text(n.names[static_cast<std::size_t>(n.view)]); }
  const NodeDetails& details(const Node& n) const { return details_[n.details]; }
  /// '/' between names, no leading one; the root's is empty.
  std::string path(NodeId id) const;
  /// Why the node's place or size is not beyond doubt; empty when it is.
  std::vector<std::string> doubts(NodeId id) const;
  bool has_doubts(NodeId id) const { return !doubts_.empty() && doubts_.contains(id); }
  /// Null when the node's content is not whole sectors.
  const RawContent* raw_content(NodeId id) const;
  /// All ids but the root's, parents before children and siblings by name: the order of every listing. After finish()
  /// these are 1, 2, 3, …
  std::vector<NodeId> in_order() const;

  /// All ids that hang on the root, without the root's, parents before children. Needs no links; linear.
  std::vector<NodeId> parents_first() const;

  // Building. Sibling links are made by link() and finish() only.
  NodeId add_child(NodeId parent, const Node& n);
  Node& edit(NodeId id) { return nodes_[id]; }
  TextRef add_text(std::string_view s) { return text_.add(s); }  ///< Empty when the arena is full.
  /// Appends to the node's extents; cheap for the node that was extended last, else its earlier ones are moved.
  void add_extents(NodeId id, std::span<const Extent> extents);
  NodeDetails& edit_details(NodeId id);  ///< Makes them when there are none. Valid until the next call.
  void add_doubt(NodeId id, std::string why);
  /// Makes the content of a file whole sectors: rounds its extents, of which each must start at a sector, up to whole
  /// ones, and sets its size and kRawSectors.
  void set_raw_content(NodeId id, RawContent content);
  /// Puts a node under another parent. Gives false, and does nothing, when the parent lies at or below the node. After
  /// it parents may have higher ids than their children.
  bool move(NodeId id, NodeId parent);
  void unlink(NodeId id) { nodes_[id].parent = kNoNode; }  ///< finish() drops it and what is below it.
  /// Links siblings in the order of their ids.
  void link();
  /// Completes the tree: drops what does not hang on the root, sorts siblings by name, makes equal names unique (an
  /// older version gets ";N", an associated file ".associated", others "~2", "~3", …), and renumbers nodes so that
  /// ids ascend in the order of listings. Gives the new id of each old one, kNoNode for the dropped.
  std::vector<NodeId> finish();

 private:
  void name_apart(std::span<const NodeId> siblings);

  ChunkedArray<Node> nodes_;
  LargeVector<Extent> extents_;
  ChunkedArray<NodeDetails> details_;
  TextArena text_;
  std::unordered_map<NodeId, std::vector<std::string>> doubts_;
  std::unordered_map<NodeId, RawContent> raw_contents_;
};

}  // namespace lacuna
