// SPDX-License-Identifier: GPL-3.0-or-later
// Remains: structures of the ISO 9660 family that are recognised by themselves, wherever they stand and whatever has
// been lost around them. Only positions and the few facts that lead from one to another are kept; whoever uses a
// structure reads its bytes again.
#pragma once

#include <cstdint>
#include <vector>

#include "base/bytes.h"
#include "lacuna/range_set.h"
#include "lacuna/states.h"

namespace lacuna::iso9660 {

/// How a structure's identifiers are recorded, as far as they tell.
enum class IdentifierKind : std::uint8_t {
  kUnknown,
  kBytes,  ///< d-characters or whatever 8-bit characters a writer took (primary, enhanced).
  kUcs2,   ///< Joliet.
};

/// A sector (or logical block) that begins with the records "." and ".." (ECMA-119 6.8.2.2).
struct FoundDirectory {
  std::uint64_t position = 0;      ///< Byte address on the disc where its "." stands.
  std::uint32_t block = 0;         ///< Where its own record says that it stands (behind an EAR), logical block.
  std::uint32_t bytes = 0;         ///< Its recorded length.
  std::uint32_t parent_block = 0;  ///< From "..", behind an EAR.
  std::uint32_t parent_bytes = 0;
  std::uint32_t real_parent_block = 0;  ///< PL in ".." (RRIP 4.1.5.2): where it hangs, having been relocated; 0: none.
  IdentifierKind kind = IdentifierKind::kUnknown;
  bool rock_ridge = false;            ///< Its "." or ".." carries entries of SUSP or Rock Ridge.
  bool dated = false;                 ///< recorded_seconds is known.
  std::int64_t recorded_seconds = 0;  ///< Date of its ".", since 1970-01-01T00:00:00Z.

  /// The root of a tree names itself as its parent (6.8.2.2).
  bool is_root() const noexcept { return block == parent_block; }
};

/// A sector that begins with a record of a file or directory and holds nothing but records: a directory's second or
/// later sector (6.8.1.1).
struct FoundRecords {
  std::uint64_t position = 0;
  IdentifierKind kind = IdentifierKind::kUnknown;
};

/// A volume descriptor of any kind (ECMA-119 8.1).
struct FoundVolumeDescriptor {
  std::uint64_t position = 0;
  std::uint8_t type = 0;  ///< descriptor_type
};

/// The start of a path table, with its root record; or a sector from the middle of one (9.4).
struct FoundPathTable {
  std::uint64_t position = 0;    ///< Byte address of the first whole record.
  std::uint32_t root_block = 0;  ///< Of a start: the root directory's extent (behind an EAR).
  bool start = false;
  bool big_endian = false;
  IdentifierKind kind = IdentifierKind::kUnknown;
};

/// Structures of the ISO 9660 family in the sectors looked at, known without any descriptor. Looking is for one thread;
/// each has Remains of its own, which are added up. Each list holds at most kMost entries.
class Remains {
 public:
  static constexpr std::size_t kMost = std::size_t{1} << 20;

  /// Takes in the structures that start in the first `own_bytes` of `bytes`. These stand at byte address `position` of
  /// the disc, a multiple of kSectorBytes, and were all read; what follows own_bytes is there for what runs over.
  void look_at(Bytes bytes, std::size_t own_bytes, std::uint64_t position);
  void add(Remains&& other);
  /// Sorts by position and drops duplicates. Afterwards constant and safe for concurrent use.
  void finish();

  bool empty() const noexcept {
    return directories_.empty() && records_.empty() && descriptors_.empty() && path_tables_.empty() &&
           boot_catalogs_.empty() && continuations_.empty();
  }
  /// LBAs in which any of it stands.
  RangeSet sectors() const;
  /// A list was full: there is more of its kind than is kept.
  bool truncated() const noexcept { return truncated_; }

  const std::vector<FoundDirectory>& directories() const noexcept { return directories_; }
  const std::vector<FoundRecords>& records() const noexcept { return records_; }
  const std::vector<FoundVolumeDescriptor>& descriptors() const noexcept { return descriptors_; }
  const std::vector<FoundPathTable>& path_tables() const noexcept { return path_tables_; }
  /// Byte addresses of El Torito catalogs whose validation entry adds up.
  const std::vector<std::uint64_t>& boot_catalogs() const noexcept { return boot_catalogs_; }
  /// Byte addresses of sectors that begin with entries of SUSP: continuation areas (IEEE P1281 5.1).
  const std::vector<std::uint64_t>& continuations() const noexcept { return continuations_; }

 private:
  void look_at_sector(Bytes bytes, std::uint64_t position);
  template <class T>
  void keep(std::vector<T>& list, const T& found);

  std::vector<FoundDirectory> directories_;
  std::vector<FoundRecords> records_;
  std::vector<FoundVolumeDescriptor> descriptors_;
  std::vector<FoundPathTable> path_tables_;
  std::vector<std::uint64_t> boot_catalogs_, continuations_;
  bool truncated_ = false;
};

}  // namespace lacuna::iso9660
