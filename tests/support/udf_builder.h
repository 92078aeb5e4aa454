// SPDX-License-Identifier: GPL-3.0-or-later
// Builds small UDF volumes byte by byte after ECMA-167 3rd edition and UDF 2.60, for what no authoring tool makes: VATs
// with files in them, relocated packets, metadata partitions, ICB chains of strategy 4096, named streams, every form of
// allocation descriptor. Shares no code with the reader that it tests. The built image tells where every structure and
// every byte of content lies, so that what a piece of damage costs is known without parsing anything.
//
//   UdfOptions options;
//   options.vat = true;
//   UdfImage disc = build_udf(udf_directory("", {udf_file("letter.txt", udf_noise(1, 5000))}), options);
//   udf_damage(disc.at(disc.one("fe", "letter.txt").address));
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace lacuna::test {

/// 1/7.3. `zone_minutes` is east of Greenwich; -2047: none given.
struct UdfTime {
  std::int16_t zone_minutes = 60;
  std::int16_t year = 2004;
  std::uint8_t month = 5, day = 6, hour = 7, minute = 8, second = 9;
  std::uint8_t centiseconds = 12, hundreds_of_microseconds = 34, microseconds = 56;
  std::uint8_t type = 1;  ///< 0 UTC, 1 local time, 2 agreed between the parties.
};

/// File types of the ICB tag (4/14.6.6) that a test chooses itself.
enum class UdfType : std::uint8_t {
  kDirectory = 4,
  kFile = 5,
  kBlockDevice = 6,
  kCharacterDevice = 7,
  kFifo = 9,
  kSocket = 10,
  kSymbolicLink = 12,
  kStreamDirectory = 13,
  kRealTimeFile = 249,
};

/// Form of the allocation descriptors, as in bits 0 to 2 of the ICB tag's flags (4/14.6.8). kAuto: short where ICB and
/// data lie in one partition, else long.
enum class UdfAds : std::uint8_t { kShort = 0, kLong = 1, kExtended = 2, kEmbedded = 3, kAuto = 255 };

/// Extent type, the two upper bits of an extent's length (4/14.14.1.1).
enum class UdfExtentType : std::uint8_t { kRecorded = 0, kUnrecorded = 1, kUnallocated = 2 };

/// A stretch of a file, in file order. It becomes one allocation descriptor, or several where it is longer than one
/// can tell. All but a file's last are whole blocks.
struct UdfPiece {
  std::uint64_t bytes = 0;
  UdfExtentType type = UdfExtentType::kRecorded;
};

/// What a file identifier descriptor says of its file beside name and place (4/14.4.3).
enum class UdfDeleted : std::uint8_t { kNo, kIcbKept, kIcbZeroed };

struct UdfNode {
  std::string name;  ///< UTF-8.
  UdfType type = UdfType::kFile;
  std::vector<UdfNode> children;
  /// Bytes of the recorded pieces, one behind the other. Of a symbolic link: its path components (udf_path()).
  std::string content;
  /// The file's stretches; empty: all of `content`, recorded. Their recorded bytes add up to the content's.
  std::vector<UdfPiece> pieces;
  /// Extents beyond the information length (4/12.1); recorded ones hold noise.
  std::vector<UdfPiece> tail;
  /// Recorded stretches are cut into extents of so many blocks that touch nowhere; 0: not cut. Also of a directory.
  std::uint32_t fragment_blocks = 0;
  UdfAds ads = UdfAds::kAuto;
  std::uint32_t ads_in_icb = 0;  ///< So many allocation descriptors in the ICB, the rest in AEDs; 0: what fits.
  std::uint32_t ads_in_aed = 0;  ///< So many in each AED (4/14.5); 0: what fits.
  /// Content that lies on the disc already, in one extent from this block of the disc on; nothing is written.
  std::optional<std::uint64_t> at_block;
  std::uint16_t partition = 0;  ///< Of `partitions`, where content (and, when set by icb_there, the ICB) is recorded.
  bool icb_there = false;

  std::string link_to;            ///< Path of another node: a hard link, that is only an identifier for its ICB.
  std::vector<UdfNode> streams;   ///< Named streams (4/9.2, UDF 3.3.5); only in extended file entries.
  std::vector<UdfNode> versions;  ///< Strategy 4096: older states, the oldest first; each only with its file entry's.
  bool strategy_4096 = false;     ///< Also on when there are versions, or the options say so.
  std::optional<bool> extended_entry;  ///< Of this node; else as in the options.

  bool hidden = false;
  UdfDeleted deleted = UdfDeleted::kNo;
  bool deleted_name = false;   ///< Compression ID 254 or 255 in place of 8 or 16 (UDF 2.1.1).
  std::uint8_t name_bits = 0;  ///< 8 or 16; 0: 8 when all characters allow.
  std::string identifier_use;  ///< Implementation use of the identifier, as recorded; a multiple of 4 bytes.

  std::uint32_t uid = 1000, gid = 100;
  std::uint32_t permissions = 0x14A5;  ///< 4/14.9.5: for others, group and owner r-x, nothing more.
  std::uint16_t icb_flags = 0;         ///< 4/14.6.8, besides the form of the descriptors: set-uid, sticky, archive ...
  UdfTime accessed, modified, created, changed;
  /// Extended attributes (udf_ea_...), attributes of ECMA-167 first, then implementation, then application ones; their
  /// header (4/14.10.1) is added. In `icb_attributes`: in an ICB of their own.
  std::vector<std::string> attributes, icb_attributes;
};

UdfNode udf_file(std::string name, std::string content);
UdfNode udf_directory(std::string name, std::vector<UdfNode> children = {});
/// `path` is taken apart at '/'; "/", "." and ".." become components of their types (4/14.16).
UdfNode udf_symlink(std::string name, std::string_view path);
UdfNode udf_device(std::string name, UdfType type, std::uint32_t major, std::uint32_t minor);
/// Deterministic bytes, nowhere uniform over any 512 of them.
std::string udf_noise(std::uint32_t seed, std::uint64_t bytes);

// Extended attributes as recorded (4/14.10).
std::string udf_ea_file_time(std::uint32_t existence, const UdfTime& time);         ///< 4/14.10.5, one time.
std::string udf_ea_information_time(std::uint32_t existence, const UdfTime& time);  ///< 4/14.10.6
std::string udf_ea_device(std::uint32_t major, std::uint32_t minor);                ///< 4/14.10.7
/// 4/14.10.8 with UDF's header checksum (UDF 3.3.4.5), such as "*UDF FreeEASpace".
std::string udf_ea_implementation(std::string_view id, std::string_view use, std::uint16_t revision = 0x0201);
std::string udf_ea_application(std::string_view id, std::string_view use);  ///< 4/14.10.9
std::string udf_path(std::string_view path);                                ///< Path components (4/14.16).

struct UdfOptions {
  std::uint32_t block_bytes = 2048;      ///< Of logical sectors and blocks: 512, 1024, 2048 or 4096.
  std::uint16_t revision = 0x0201;       ///< 0x0102 ... 0x0260; NSR02 below 0x0200, else NSR03.
  std::optional<bool> extended_entries;  ///< EFE in place of FE; unset: from 2.00 on.
  bool strategy_4096 = false;            ///< Every ICB of the tree.
  bool terminal_entries = false;         ///< A chain of ICBs ends with a terminal entry, not an unrecorded block.
  bool embedded_directories = false;
  std::string volume_id = "LACUNA_TEST";
  std::string implementation_id = "*Lacuna tests";

  // Where things lie. Blocks are relative to the session's start.
  std::uint64_t session_start = 0;  ///< Block of the disc where image and session begin.
  /// Blocks with anchors; negative ones count from the end: -1 the last block N, -257 is N - 256.
  std::vector<std::int64_t> anchors = {256, -257, -1};
  bool recognition_sequence = true;
  std::optional<std::uint32_t> main_at, reserve_at, integrity_at;
  std::optional<std::uint32_t> partition_at;  ///< Unset: 257, with sparing 288, each behind the sequences and anchors.
  std::uint32_t first_free = 0;               ///< Nothing of the tree before this block of the partition.
  std::uint32_t free_blocks = 20;             ///< Of the partition, that nothing uses.
  std::vector<std::uint8_t> base;             ///< What the image holds before: a bridge's other file system.

  // Volume structure.
  std::uint32_t main_number = 1, reserve_number = 1;  ///< Volume descriptor sequence number of all descriptors of it.
  std::optional<std::string> reserve_volume_id;       ///< In the reserve sequence another volume identifier.
  std::uint32_t continue_after = 0;  ///< A volume descriptor pointer behind so many descriptors; 0: none.
  bool integrity = true;
  bool closed = true;                 ///< Type of the last integrity descriptor.
  std::uint32_t older_integrity = 0;  ///< Open ones before the last.
  enum class Space : std::uint8_t { kNone, kBitmap, kTable } space = Space::kBitmap;
  std::optional<std::uint32_t> access_type;  ///< Unset: by the kind of partition.
  std::vector<UdfNode> older_file_sets;      ///< File set descriptors with lower numbers, and their roots.
  bool file_set_elsewhere = false;           ///< The last one is in another extent, named by "next extent".
  std::vector<UdfNode> system_streams;

  // Partition maps.
  std::uint16_t partitions = 1;  ///< 2: another of type 1, number 1, behind the first; its reference is 1.

  bool vat = false;
  std::vector<UdfNode> older_generations;  ///< Trees of earlier VATs, the oldest first. What stays is not rewritten.
  bool vat_embedded = false;
  std::uint32_t vat_before_end = 0;  ///< Empty blocks behind the VAT's ICB.

  bool sparable = false;
  std::vector<std::uint32_t> sparing_sequences = {1, 1};  ///< A table for each, 1 to 4: its sequence number.
  std::vector<std::uint32_t>
      relocated_packets;                ///< Whose blocks are recorded in the sparing area; noise in their place.
  std::uint32_t older_tables_lack = 0;  ///< So many of the last relocations are not in tables of lower number.

  bool metadata = false;
  bool metadata_duplicate = true;  ///< The mirror has its own copy of the data.
  bool metadata_bitmap = true;
  std::uint32_t metadata_unit_blocks = 32;  ///< Allocation unit; an extent of the metadata file each, none touch.
                                            ///< The tree's extents run over their borders (Linux 6.1 gets lost there).
};

/// A structure, or a piece of one that is broken over two blocks that don't follow each other.
struct UdfStructure {
  std::string kind;           ///< See UdfImage::structures.
  std::string path;           ///< Of the node, '/' between; root: "". Stream: "path:name" in the
                              ///< directory "path:"; system stream: "::name" in "::".
  std::uint64_t address = 0;  ///< Byte of the disc.
  std::uint32_t bytes = 0;
  std::uint32_t copy = 0;     ///< 1: of the reserve sequence, the metadata mirror; the n-th anchor or sparing table.
  std::uint32_t version = 0;  ///< 0: current; n: n generations (VAT), versions (4096) or file sets ago.
};

/// A stretch of a file. Without an address it reads as zeros.
struct UdfExtent {
  std::uint64_t offset = 0, bytes = 0;
  std::optional<std::uint64_t> address;  ///< Byte of the disc.
};

struct UdfFile {
  UdfType type = UdfType::kFile;
  std::uint64_t bytes = 0;
  std::vector<UdfExtent> extents;  ///< Of all `bytes`, in order. Content in a mirrored ICB: as in the main copy.
  std::string recorded;            ///< Bytes of the extents that have an address, one behind the other.
  std::string read(std::uint64_t offset, std::uint64_t n) const;  ///< Content as it must come out.
  std::string read() const { return read(0, bytes); }
};

struct UdfImage {
  std::vector<std::uint8_t> bytes;
  std::uint32_t block_bytes = 2048;
  std::uint64_t first_byte = 0;  ///< Address of the image's first byte.

  /// Kinds: "anchor"; "bea", "nsr", "tea"; "pvd", "lvd", "pd", "usd", "iuvd", "td", "vdp"; "lvid"; "sparing table";
  /// "vat icb", "vat"; "metadata icb", "metadata mirror icb", "metadata bitmap icb", "metadata bitmap";
  /// "space bitmap", "space table"; "fsd"; and with a path "fe" (or extended), "ie" and "te" (4096), "aed", "directory"
  /// (each block of a directory's content), "fid" (path of what it names; "parent" FIDs: kind "parent fid"), "ea icb".
  std::vector<UdfStructure> structures;
  std::map<std::string, UdfFile> files;    ///< All that is live, directories too, by path. Hidden ones too.
  std::map<std::string, UdfFile> deleted;  ///< What only deleted identifiers name.
  /// Earlier states: by the VAT before the last, the version before the last, the file set before: [0] is the latest.
  std::vector<std::map<std::string, UdfFile>> older;

  /// The image's bytes from a byte of the disc on.
  std::span<std::uint8_t> at(std::uint64_t address) { return std::span(bytes).subspan(address - first_byte); }
  std::vector<UdfStructure> all(std::string_view kind, std::string_view path = {}) const;  ///< Of any copy or version.
  /// The one structure; a failure of the test when there is none.
  UdfStructure one(std::string_view kind, std::string_view path = {}, std::uint32_t copy = 0,
                   std::uint32_t version = 0) const;
  std::uint64_t block_of(const UdfStructure& s) const { return s.address / block_bytes; }
};

/// Deterministic. Sibling order is the caller's.
UdfImage build_udf(UdfNode root, const UdfOptions& options = {});

/// Changes a byte under the CRC of the descriptor that begins here, and nothing else.
void udf_damage(std::span<std::uint8_t> descriptor);
/// Computes CRC (over the length the tag tells) and checksum of a descriptor's tag (3/7.2) anew, after an edit.
void udf_reseal(std::span<std::uint8_t> descriptor);

}  // namespace lacuna::test
