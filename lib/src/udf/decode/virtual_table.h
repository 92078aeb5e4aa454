// SPDX-License-Identifier: GPL-3.0-or-later
// Virtual allocation tables (UDF 1.50 2.2.10, UDF 2.00+ 2.2.11): the content of the VAT file of write-once discs.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>

#include "base/bytes.h"

namespace lacuna::udf {

/// What a table has against the documents; a bit set.
namespace vat_problem {
inline constexpr std::uint32_t kLength = 1;  ///< The bytes of the entries are not a multiple of 4.
inline constexpr std::uint32_t kHeader = 2;  ///< 2.2.11: the header's length is not 152 bytes and its use.
inline constexpr std::uint32_t kText = 4;    ///< The volume identifier is not a dstring.
}  // namespace vat_problem

struct VirtualTable {
  static constexpr std::uint32_t kUnused = 0xffffffff;

  bool is_150 = false;                    ///< In the form of UDF 1.50: only entries and `previous`.
  Bytes entries;                          ///< 4 bytes each.
  std::optional<std::uint32_t> previous;  ///< Block of the partition in which the ICB of the table before this stands.
  std::uint32_t problems = 0;             ///< vat_problem

  Bytes volume_id;                                           ///< dstring of 128 bytes.
  std::optional<std::uint32_t> files, directories;           ///< FFFFFFFF is "not specified".
  std::uint16_t min_read = 0, min_write = 0, max_write = 0;  ///< UDF revisions in BCD.
  Bytes implementation_use;

  std::size_t size() const noexcept { return entries.size() / 4; }
  /// Block of the partition for virtual block `i`, below size(); kUnused: none.
  std::uint32_t operator[](std::size_t i) const noexcept { return le32(entries, i * 4); }
};

/// `content` is the whole file; `icb_file_type` decides the form: 0 is that of 1.50 (entries, then a regid
/// "*UDF Virtual Alloc Tbl" and a link), 248 that of 2.00 and later (a header, then entries). Nothing: another type,
/// too few bytes, the regid isn't there, or the header is longer than the content.
std::optional<VirtualTable> decode_virtual_table(Bytes content, std::uint8_t icb_file_type) noexcept;

}  // namespace lacuna::udf
