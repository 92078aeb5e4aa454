// SPDX-License-Identifier: GPL-3.0-or-later
// Path tables (ECMA-119 9.4, order 6.9.1). The standard counts bytes from 1; offsets here are from 0.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"

namespace lacuna::iso9660 {

/// What a decoded record has against the standard; a bit set.
namespace path_table_problem {
inline constexpr std::uint32_t kParentNotBefore = 1;  ///< 6.9.1: the parent's number is not below the record's own.
inline constexpr std::uint32_t kParentZero = 2;       ///< 9.4.4: numbers start at 1.
inline constexpr std::uint32_t kParentDecreases = 4;  ///< 6.9.1: less than the parent of the record before.
inline constexpr std::uint32_t kRoot = 8;             ///< 9.4.5: record 1 is not the root (id 00, parent 1).
inline constexpr std::uint32_t kPadding = 16;         ///< 9.4.6: the pad byte is not zero.
}  // namespace path_table_problem

struct PathTableRecord {
  std::uint8_t ear_length = 0;      ///< Logical blocks.
  std::uint16_t parent_number = 0;  ///< Only 65535 directories can be named as parents.
  std::uint32_t extent = 0;         ///< Logical block.
  std::uint32_t number = 0;         ///< Its own; 1 is the root.
  std::uint32_t problems = 0;       ///< path_table_problem
  std::size_t offset = 0;           ///< Byte of the table where the record starts.
  std::size_t length = 0;           ///< Bytes, padding included.
  Bytes identifier;

  bool is_root() const noexcept { return number == 1; }
};

/// ECMA-119 9.4, one record by itself: number and offset are 0, and of the problems only kParentZero and kPadding can
/// be seen. Nothing: it runs over the end, or its identifier has no bytes. One missing pad byte is not minded.
std::optional<PathTableRecord> decode_path_table_record(Bytes rest, bool big_endian) noexcept;

/// Walks over a path table, which has no padding at sector borders. It can't be resumed behind an unreadable sector,
/// because records hold no mark and are counted: give it the table up to there.
class PathTableReader {
 public:
  enum class Stop : std::uint8_t {
    kNone,        ///< There may be more.
    kEnd,         ///< The table ends with its last record (one missing pad byte is not minded).
    kZeroLength,  ///< 9.4.1: a record with an identifier of no bytes; zero padding in most cases.
    kOverrun,     ///< A record runs over the end of the table.
  };

  PathTableReader(Bytes table, bool big_endian) noexcept : table_(table), big_endian_(big_endian) {}

  std::optional<PathTableRecord> next() noexcept;
  Stop stop() const noexcept { return stop_; }
  /// Byte at which the next record starts, or at which reading stopped.
  std::size_t offset() const noexcept { return at_; }

 private:
  Bytes table_;
  std::size_t at_ = 0;
  std::uint32_t number_ = 0;
  std::uint16_t last_parent_ = 0;
  bool big_endian_;
  Stop stop_ = Stop::kNone;
};

}  // namespace lacuna::iso9660
