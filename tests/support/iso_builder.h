// SPDX-License-Identifier: GPL-3.0-or-later
// Builds small images of the ISO 9660 family byte by byte after ECMA-119, for what no authoring tool makes: small
// logical blocks, interleaved files, extended attribute records, optional path tables, and every kind of lie. What a
// test wants forged, it overwrites in the finished image: the places of all structures are told.
#pragma once

#include <cstdint>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace lacuna::test {

/// 9.1.5: year - 1900, month, day, hour, minute, second, quarters of an hour east of Greenwich.
struct IsoDate {
  std::uint8_t year = 104, month = 5, day = 6, hour = 7, minute = 8, second = 9;
  std::int8_t quarters = 0;
};

/// A file or directory. Identifiers are bytes as recorded ("README.TXT;1").
struct IsoNode {
  std::string id;
  std::string joliet_id;  ///< UCS-2, big-endian (see ucs2()); empty: not in the Joliet tree.
  bool directory = false;
  std::string content;
  std::vector<IsoNode> children;

  std::uint8_t flags = 0;  ///< 9.1.6, besides the directory and multi-extent bits.
  IsoDate date;
  std::string system_use;         ///< 9.1.13, bytes as recorded.
  std::string self_system_use;    ///< Of a directory's own "." record.
  std::string parent_system_use;  ///< Of a directory's ".." record.
  std::string continuation;       ///< SUSP continuation area; the CE entry is added to system_use (a root: to "."'s).
  std::uint8_t ear_blocks = 0;    ///< Extended attribute record before the content (9.5), in logical blocks.
  std::uint8_t unit_blocks = 0, gap_blocks = 0;  ///< Interleaved recording (6.4.3).
  std::string in_gaps_of;                        ///< Path of an interleaved file in whose gaps this one is recorded.
  std::vector<std::uint32_t> section_bytes;      ///< Multi-extent (6.5.1): the sections' lengths; empty: one section.
  std::string same_extent_as;                    ///< Path of a file whose extent this record names too.
};

IsoNode iso_file(std::string id, std::string content);
IsoNode iso_directory(std::string id, std::vector<IsoNode> children = {});

struct IsoOptions {
  std::uint32_t block_bytes = 2048;   ///< Logical block size: 512, 1024 or 2048.
  std::uint32_t start_lba = 0;        ///< Of the session; the image begins there.
  bool optional_path_tables = false;  ///< Also the second L and M tables.
  std::string joliet_escape;          ///< "%/@", "%/C" or "%/E"; empty: no Joliet tree.
  bool enhanced = false;              ///< A version 2 descriptor over the primary tree (ISO 9660:1999).
  bool xa = false;                    ///< "CD-XA001" in the primary descriptor.
  std::string volume_id = "LACUNA_TEST";
  std::string boot_catalog;  ///< El Torito: a boot record is added, and this stands in its catalog's sector.
};

/// Where something lies: byte addresses on the disc (from LBA 0).
struct IsoPlace {
  std::uint64_t record = 0;      ///< Its first directory record.
  std::uint64_t system_use = 0;  ///< The system use bytes of that record.
  std::uint64_t extent = 0;      ///< Its content's first byte (behind an extended attribute record).
  std::uint64_t bytes = 0;       ///< Content, or the directory's length.
  std::uint64_t continuation = 0;
};

struct IsoImage {
  std::vector<std::uint8_t> bytes;
  std::uint64_t start_lba = 0;
  std::map<std::string, IsoPlace> primary, joliet;  ///< By path of primary identifiers, '/' between; root: "".
  std::map<std::string, std::uint64_t> structures;  ///< "primary", "joliet", "enhanced", "boot", "terminator",
                                                    ///< "path L", "path M", "path L2", "path M2", "joliet path L", …,
                                                    ///< "catalog".

  /// The image's bytes from a byte address of the disc on.
  std::span<std::uint8_t> at(std::uint64_t address) { return std::span(bytes).subspan(address - start_lba * 2048); }
  std::uint64_t end_lba() const { return start_lba + bytes.size() / 2048; }
};

/// Deterministic. Sibling order is the caller's (9.3 is the caller's duty).
IsoImage build_iso(IsoNode root, const IsoOptions& options = {});

// Numbers into bytes, for forging.
void put_le16(std::span<std::uint8_t> to, std::size_t at, std::uint16_t v);
void put_le32(std::span<std::uint8_t> to, std::size_t at, std::uint32_t v);
void put_be32(std::span<std::uint8_t> to, std::size_t at, std::uint32_t v);
void put_both16(std::span<std::uint8_t> to, std::size_t at, std::uint16_t v);
void put_both32(std::span<std::uint8_t> to, std::size_t at, std::uint32_t v);

/// Big-endian UCS-2 of UTF-8 text (surrogate pairs beyond the BMP).
std::string ucs2(std::string_view utf8);

// System use entries (IEEE P1281, P1282) and the CD-ROM XA record.
std::string susp_sp(std::uint8_t skip = 0);                                       // P1281 5.3
std::string susp_ce(std::uint32_t block, std::uint32_t offset, std::uint32_t n);  // P1281 5.1
std::string susp_er();                                                            // P1281 5.5, "RRIP_1991A"
std::string susp_st();                                                            // P1281 5.4
std::string rrip_px(std::uint32_t mode, std::uint32_t links = 1, std::uint32_t uid = 0, std::uint32_t gid = 0);
std::string rrip_nm(std::string_view text, std::uint8_t flags = 0);
std::string rrip_sl(std::string_view components, std::uint8_t flags = 0);  ///< Components as recorded.
std::string rrip_cl(std::uint32_t block);
std::string rrip_pl(std::uint32_t block);
std::string rrip_re();
std::string rrip_tf_modified(const IsoDate& date);
std::string zisofs_zf(std::uint32_t plain_bytes, std::uint8_t block_log2 = 15);
std::string xa_record(std::uint16_t attributes, std::uint8_t file_number = 0);

}  // namespace lacuna::test
