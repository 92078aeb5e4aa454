// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/cs0.h"

#include <algorithm>

#include "base/text.h"

namespace lacuna::udf {
namespace {

bool is_ascii(Bytes b) {
  return std::ranges::all_of(b, [](std::uint8_t c) { return c < 0x80; });
}

/// Characters of 8 bits, U+0000 to U+00FF.
std::string utf8_of(Bytes characters) {
  std::string utf8;
  utf8.reserve(characters.size() * 2);
  for (const std::uint8_t c : characters) append_utf8(utf8, c);
  return utf8;
}

}  // namespace

// UDF 2.1.1
Cs0Form cs0_form(Bytes text) noexcept {
  if (text.empty()) return Cs0Form::kEmpty;
  switch (text[0]) {
    case 8:
      return Cs0Form::k8;
    case 16:
      return Cs0Form::k16;
    case 254:
      return Cs0Form::kDeleted8;
    case 255:
      return Cs0Form::kDeleted16;
    default:
      return Cs0Form::kUnknown;
  }
}

Cs0Form append_cs0_name(std::string& to, Bytes text) {
  const Cs0Form form = cs0_form(text);
  switch (form) {
    case Cs0Form::kEmpty:
      break;
    case Cs0Form::k8:
    case Cs0Form::kDeleted8: {
      const Bytes characters = text.subspan(1);
      if (is_ascii(characters)) {
        append_name_utf8(to, characters);
      } else {
        append_name_utf8(to, as_bytes(utf8_of(characters)));
      }
      break;
    }
    case Cs0Form::k16:
    case Cs0Form::kDeleted16:
      append_name_ucs2(to, text.subspan(1));
      break;
    case Cs0Form::kUnknown:
      append_name_utf8(to, text);
      break;
  }
  return form;
}

std::string cs0_display(Bytes text) {
  switch (cs0_form(text)) {
    case Cs0Form::kEmpty:
      return {};
    case Cs0Form::k8:
    case Cs0Form::kDeleted8:
      return field_text(as_bytes(utf8_of(text.subspan(1))));
    case Cs0Form::k16:
    case Cs0Form::kDeleted16:
      return field_text_ucs2(text.subspan(1));
    case Cs0Form::kUnknown:
      break;
  }
  return field_text(text);
}

// ECMA-167 1/7.2.12
Dstring decode_dstring(Bytes field) noexcept {
  if (field.empty()) return {};
  const std::size_t room = field.size() - 1;
  const std::size_t count = field[room];
  if (count <= room) return {field.first(count), true};
  std::size_t used = room;
  while (used > 0 && field[used - 1] == 0) --used;
  return {field.first(used), false};
}

bool is_dstring(Bytes field) noexcept {
  const Dstring d = decode_dstring(field);
  return d.count_valid && cs0_form(d.text) != Cs0Form::kUnknown;
}

std::string dstring_display(Bytes field) { return cs0_display(decode_dstring(field).text); }

}  // namespace lacuna::udf
