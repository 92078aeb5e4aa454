// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/json_line.h"

#include <fmt/format.h>

#include <iterator>

#include "base/utf8.h"

namespace lacuna {

std::string valid_utf8(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t at = 0; at < text.size();) {
    const CodePoint c = code_point_at(text, at);
    if (c.well_formed()) {
      out += text.substr(at, c.length);
    } else {
      fmt::format_to(std::back_inserter(out), "%{:02X}", c.value - CodePoint::kIllFormed);
    }
    at += c.length;
  }
  return out;
}

}  // namespace lacuna
