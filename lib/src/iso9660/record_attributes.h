// SPDX-License-Identifier: GPL-3.0-or-later
// What the system use area of a directory record tells (SUSP, Rock Ridge, zisofs, CD-ROM XA), its continuation areas
// read along.
#pragma once

#include <cstdint>
#include <optional>

#include "iso9660/decode/rock_ridge.h"
#include "iso9660/decode/susp.h"
#include "iso9660/decode/xa.h"
#include "iso9660/decode/zisofs.h"
#include "lacuna/finding.h"
#include "media/stretch.h"

namespace lacuna::iso9660 {

struct RecordAttributes {
  NameBuilder name;
  SymlinkBuilder symlink;
  std::optional<PosixAttributes> posix;
  std::optional<DeviceNumber> device;
  std::optional<std::uint32_t> child_link;  ///< CL: logical block.
  bool relocated = false;                   ///< RE.
  FileTimes times;
  std::optional<SparseFile> sparse;
  std::optional<ZisofsEntry> zisofs;
  std::optional<XaAttributes> xa;
  std::optional<std::uint8_t> skip;  ///< SP's LEN_SKP.
  bool rock_ridge = false;           ///< An entry that only Rock Ridge has was met.
  bool lost_part = false;            ///< A continuation area, or part of one, could not be read.
  bool malformed = false;            ///< An entry of a length that can't be, or a loop of continuation areas.

  void clear();
};

/// Reads areas of one volume, one after the other. Keeps the last continuation sectors, because neighbours share them.
class AttributeReader {
 public:
  AttributeReader(const Image& image, std::uint32_t block_bytes, std::int64_t shift_bytes);

  void set_skip(std::size_t skip) { skip_ = skip; }
  /// Whether areas hold SUSP entries at all; off, only CD-ROM XA attributes are looked for.
  void set_susp(bool on) { susp_ = on; }

  /// Fills `out` from an area. `first_record`: the root's own ".", whose area is never skipped into (SUSP 5.3).
  void read(Bytes system_use, bool first_record, RecordAttributes& out);

  /// Byte addresses of the continuation areas read so far.
  RangeSet areas() const { return RangeSet::from_unsorted(areas_); }

 private:
  struct Next {
    std::uint64_t position = 0, bytes = 0;
  };
  void read_entries(SuspReader reader, RecordAttributes& out, std::optional<Next>& next);
  Bytes area_at(const Next& area, RecordAttributes& out);
  void note_area(Range area);

  const Image& image_;
  std::uint32_t block_bytes_;
  std::int64_t shift_bytes_;
  std::size_t skip_ = 0;
  bool susp_ = false;
  Stretch window_;
  std::uint64_t budget_bytes_;
  std::vector<Range> areas_;
  std::size_t fold_at_ = 65536;
};

}  // namespace lacuna::iso9660
