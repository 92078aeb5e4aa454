// SPDX-License-Identifier: GPL-3.0-or-later
// Text: OSTA compressed Unicode (UDF 2.1.1) and dstrings (ECMA-167 1/7.2.12, UDF 2.1.3).
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>

#include "base/bytes.h"

namespace lacuna::udf {

/// What the compression id, the first byte of a text, says (UDF 2.1.1).
enum class Cs0Form : std::uint8_t {
  kEmpty,      ///< No bytes at all.
  k8,          ///< 8: one byte a character, U+0000 to U+00FF.
  k16,         ///< 16: two bytes a character, big-endian.
  kDeleted8,   ///< 254: as 8; the identifier of a deleted file, made unique, formally empty.
  kDeleted16,  ///< 255: as 16.
  kUnknown,    ///< Any other number: not a CS0 text, or a damaged one.
};
Cs0Form cs0_form(Bytes text) noexcept;

/// Appends the tree's form of a name (base/text.h) and says what its form was. Characters of 16 bits and odd last bytes
/// are handled as append_name_ucs2 does. Those of 8 bits become UTF-8, then go as by append_name_utf8: unescape_name
/// gives that UTF-8. Deleted forms are decoded like the others. For kUnknown all bytes, the id included, are appended
/// as append_name_utf8 has them.
Cs0Form append_cs0_name(std::string& to, Bytes text);

/// For display: as append_cs0_name, but '/' and '%' stay and trailing spaces and NULs are removed.
std::string cs0_display(Bytes text);

/// A dstring's text (1/7.2.12): the last byte of the field counts the used ones, compression id included.
struct Dstring {
  Bytes text;                ///< With the compression id; empty when the count is 0.
  bool count_valid = false;  ///< False: the count is more than fits, or there are no bytes. `text` is then all up to
                             ///< it, without the zeros behind, good for display only.
};
Dstring decode_dstring(Bytes field) noexcept;

/// The count fits, and the compression id is one (or there is no text).
bool is_dstring(Bytes field) noexcept;

/// Display text of a dstring field, or empty.
std::string dstring_display(Bytes field);

}  // namespace lacuna::udf
