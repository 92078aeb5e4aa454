// SPDX-License-Identifier: GPL-3.0-or-later
// Directory records (ECMA-119 9.1). The standard counts bytes from 1; offsets here are from 0.
// This is the hot path of listing: no allocation, and what is wrong is a bit set that the reader turns into text.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"
#include "lacuna/timestamp.h"

namespace lacuna::iso9660 {

/// ECMA-119 9.1.1 to 9.1.10: what comes before the identifier.
inline constexpr std::size_t kRecordFixedBytes = 33;
/// ECMA-119 8.4.18: a root directory record in a volume descriptor.
inline constexpr std::size_t kRootRecordBytes = 34;

/// ECMA-119 9.1.6.
namespace file_flag {
inline constexpr std::uint8_t kHidden = 0x01;  ///< "Existence" in the standard.
inline constexpr std::uint8_t kDirectory = 0x02;
inline constexpr std::uint8_t kAssociated = 0x04;
inline constexpr std::uint8_t kRecord = 0x08;
inline constexpr std::uint8_t kProtection = 0x10;
inline constexpr std::uint8_t kReserved = 0x60;
inline constexpr std::uint8_t kMultiExtent = 0x80;  ///< Not the final record of the file.
}  // namespace file_flag

/// What a decoded record has against the standard; a bit set.
namespace record_problem {
inline constexpr std::uint32_t kExtentHalves = 1;      ///< 9.1.3: the two halves disagree.
inline constexpr std::uint32_t kDataLengthHalves = 2;  ///< 9.1.4
inline constexpr std::uint32_t kSequenceHalves = 4;    ///< 9.1.9
inline constexpr std::uint32_t kDate = 8;              ///< 9.1.5: not a date.
inline constexpr std::uint32_t kOddLength = 16;        ///< 9.1.1, 9.1.13: LEN_DR is odd.
inline constexpr std::uint32_t kReservedFlags = 32;    ///< 9.1.6: bits 5 and 6.
inline constexpr std::uint32_t kDirectoryFlags =
    64;  ///< 9.1.6: a directory that is associated, multi-extent or has records.
inline constexpr std::uint32_t kEmptyIdentifier = 128;  ///< 9.1.10: LEN_FI is 0.
inline constexpr std::uint32_t kPadding = 256;          ///< 9.1.12: the pad byte is not zero, or missing.
inline constexpr std::uint32_t kInterleave = 512;       ///< 9.1.7, 9.1.8: a unit without a gap or a gap without a unit.
inline constexpr std::uint32_t kSelfOrParentFile = 1024;  ///< 6.8.2.2: an identifier 00 or 01, but not of a directory.
inline constexpr std::uint32_t kRootLength = 2048;        ///< 8.4.18: decode_root_record() only, LEN_DR is not 34.

/// Those that speak for other data than a directory record; the rest are habits of writers.
inline constexpr std::uint32_t kImplausible =
    kExtentHalves | kDataLengthHalves | kDate | kReservedFlags | kEmptyIdentifier | kSelfOrParentFile;
}  // namespace record_problem

struct DirectoryRecord {
  std::uint8_t length = 0;                ///< LEN_DR, bytes: the next record of the sector is that far on.
  std::uint8_t ear_length = 0;            ///< Extended attribute record, logical blocks; it lies before the data.
  std::uint8_t flags = 0;                 ///< file_flag
  std::uint8_t unit_size = 0;             ///< Logical blocks; 0: not interleaved.
  std::uint8_t gap_size = 0;              ///< Logical blocks.
  bool date_valid = false;                ///< False: undecodable (kDate). True and `recorded` not known: not specified.
  BothEndian<std::uint16_t> sequence;     ///< Volume sequence number.
  BothEndian<std::uint32_t> extent;       ///< Logical block.
  BothEndian<std::uint32_t> data_length;  ///< Bytes, of this file section, EAR not included.
  std::uint32_t problems = 0;             ///< record_problem
  Timestamp recorded;
  Bytes identifier;  ///< As recorded, into the input.
  Bytes system_use;  ///< May be empty.

  bool is_directory() const noexcept { return (flags & file_flag::kDirectory) != 0; }
  bool is_self() const noexcept { return identifier.size() == 1 && identifier[0] == 0; }
  bool is_parent() const noexcept { return identifier.size() == 1 && identifier[0] == 1; }
  bool is_multi_extent() const noexcept { return (flags & file_flag::kMultiExtent) != 0; }
  /// Nothing in it speaks for other data than a directory record. For telling directories from file data.
  bool plausible() const noexcept { return (problems & record_problem::kImplausible) == 0; }
};

/// ECMA-119 9.1. `rest_of_sector` starts at the record and ends at the end of its logical sector, which no record
/// crosses (6.8.1.1). Nothing: LEN_DR is 0 (no more records in this sector: look at the first byte before), less than
/// the fixed part, or runs over the end; or the identifier runs over LEN_DR.
std::optional<DirectoryRecord> decode_directory_record(Bytes rest_of_sector);

/// ECMA-119 8.4.18: the 34 bytes in a volume descriptor. Takes them whatever LEN_DR says (longer ones are seen, with
/// the fields of the volume set identifier overlapping); nothing only when there are fewer than 34 bytes. No system
/// use.
std::optional<DirectoryRecord> decode_root_record(Bytes root_record);

}  // namespace lacuna::iso9660
