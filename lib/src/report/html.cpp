// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/html.h"

#include <fmt/format.h>

#include <iterator>

#include "base/utf8.h"
#include "lacuna/report.h"

namespace lacuna::report {

std::string html(std::string_view text) {
  const std::string fit = shown(text);
  std::string to;
  for (std::size_t at = 0; at < fit.size();) {
    const CodePoint c = code_point_at(fit, at);
    if (!c.well_formed()) {  // A path of this machine's file system need not be UTF-8.
      fmt::format_to(std::back_inserter(to), "%{:02X}", static_cast<unsigned char>(fit[at]));
    } else if (c.value == '&' || c.value == '<' || c.value == '>' || c.value == '"' || c.value == '\'') {
      fmt::format_to(std::back_inserter(to), "&#{};", static_cast<unsigned>(c.value));
    } else {
      to.append(fit, at, c.length);
    }
    at += c.length;
  }
  return to;
}

}  // namespace lacuna::report
