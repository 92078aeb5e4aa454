// SPDX-License-Identifier: GPL-3.0-or-later
// Names: from a disc's bytes to the UTF-8 of the tree (see tree.h for its form), and back.
#pragma once

#include <memory>
#include <string>
#include <string_view>

#include "base/bytes.h"
#include "lacuna/result.h"

namespace lacuna {

/// Appends a code point, which must be a Unicode scalar value.
void append_utf8(std::string& to, char32_t c);

/// Appends the tree's form of a name whose bytes are meant as UTF-8: well-formed sequences stay; ill-formed bytes,
/// control characters (C0, 7F), '/' and a '%' followed by two hex digits become %HH.
void append_name_utf8(std::string& to, Bytes raw);

/// The same for UCS-2 / UTF-16, big-endian (Joliet): surrogate pairs are joined; a lone surrogate, U+FFFE, U+FFFF or an
/// odd last byte stands as %HH for each of its bytes.
void append_name_ucs2(std::string& to, Bytes raw);

/// Undoes %HH: gives the bytes that a name stands for (for append_name_utf8's input exactly).
std::string unescape_name(std::string_view name);

/// Text of a descriptor field for display: as append_name_utf8 / append_name_ucs2, but '/' and '%' stay, and trailing
/// spaces and NULs are removed.
std::string field_text(Bytes raw);
std::string field_text_ucs2(Bytes raw);

/// Decodes 8-bit names from another code page. One converter is for one thread.
class NameDecoder {
 public:
  /// `charset` is an iconv name, or empty for UTF-8. Errors: kUsage for a charset that iconv doesn't know.
  static Result<NameDecoder> open(const std::string& charset);
  NameDecoder(NameDecoder&&) noexcept;
  NameDecoder& operator=(NameDecoder&&) noexcept;
  ~NameDecoder();

  /// Appends the tree's form of a name; bytes that the charset doesn't define become %HH.
  void append(std::string& to, Bytes raw);

 private:
  struct Impl;
  explicit NameDecoder(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;  // none: UTF-8
};

}  // namespace lacuna
