// SPDX-License-Identifier: GPL-3.0-or-later
// From a directory record to a node: name, kind, dates, attributes, extents (ECMA-119 9.1, RRIP 4.1).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "base/text.h"
#include "iso9660/decode/directory_record.h"
#include "iso9660/record_attributes.h"
#include "lacuna/disc.h"

namespace lacuna::iso9660 {

/// What holds for all records of one tree.
struct TreeContext {
  View view = View::kIso9660;  ///< kIso9660, kJoliet or kEnhanced.
  std::uint32_t block_bytes = kSectorBytes;
  std::int64_t shift_bytes = 0;   ///< As VolumeBasis::shift_bytes.
  std::uint64_t limit_bytes = 0;  ///< Nothing lies behind this byte address: the larger of volume space and image.
  std::uint32_t set_size = 1;     ///< Volume set size and this volume's number in it.
  std::uint32_t sequence_number = 1;
  bool whole_sectors = false;  ///< The image holds them, so that settle_raw_files() says what form 2 and audio mean.
};

/// Where a record was found.
struct RecordPlace {
  NodeId directory = kRoot;
  std::uint64_t lba = 0;
  bool suspect = false;    ///< Its sector is suspect.
  bool after_gap = false;  ///< The records before it are lost: it may be the last section of a longer file.
  Evidence evidence = Evidence::kTree;  ///< How the directory is known.
};

class NodeMaker {
 public:
  NodeMaker(Tree& tree, const TreeContext& context, NameDecoder names, Findings& findings)
      : tree_(tree), context_(context), names_(std::move(names)), findings_(findings) {}

  /// A record of a file or directory (not "." or ".."); `a` are its attributes. Gives the new node, or the node that
  /// the record's section was added to (ECMA-119 9.1.6, multi-extent).
  NodeId add(const DirectoryRecord& r, const RecordAttributes& a, const RecordPlace& place);
  /// A directory that no record names, by its identifier in a path table; an empty one gets a made name.
  NodeId add_directory(NodeId parent, Bytes identifier, std::uint64_t position, std::uint64_t bytes, Evidence evidence);
  /// A directory or a gap in it ended: a file that waits for further sections doesn't get them.
  void end_of_run(bool because_lost);

  /// Attributes of a directory that its own "." tells better than the record that names it (relocated ones).
  void take_attributes(NodeId id, const DirectoryRecord& r, const RecordAttributes& a);

  /// Where the record's data starts and whether its two halves leave a doubt.
  struct Located {
    std::uint64_t position = 0;
    std::uint64_t bytes = 0;
    std::string doubt;  ///< Empty: none.
    bool one_sided = false;
  };
  Located locate(const DirectoryRecord& r) const;

  /// Doubts that vanish where another view agrees; final otherwise.
  std::vector<std::pair<NodeId, std::string>>& tentative_doubts() { return tentative_; }
  /// At the end: doubts about records that fill in one half of their both-endian fields only, unless nearly all do,
  /// which is then a habit of the writer; a finding in any case.
  void doubt_one_sided();

 private:
  void add_identifier(Node& n, Bytes id);
  void add_name(Node& n, const DirectoryRecord& r, const RecordAttributes& a);
  void add_extent(NodeId id, Extent e);
  void add_details(NodeId id, const RecordAttributes& a);
  void add_symlink(NodeId id, const RecordAttributes& a);
  void add_zisofs(NodeId id, const RecordAttributes& a);
  void add_section(NodeId id, const DirectoryRecord& r, const Located& where);
  void doubt_record(NodeId id, const DirectoryRecord& r, const RecordAttributes& a, const RecordPlace& place);
  void note(Severity severity, const char* kind, NodeId id, std::uint64_t lba, const char* clause, std::string text);

  Tree& tree_;
  TreeContext context_;
  NameDecoder names_;
  Findings& findings_;
  std::string buffer_;
  // A multi-extent file whose last section has not come yet.
  NodeId open_ = kNoNode;
  std::string open_identifier_;
  std::vector<std::pair<NodeId, std::string>> tentative_;
  std::vector<NodeId> one_sided_;
  std::uint64_t records_ = 0;
};

}  // namespace lacuna::iso9660
