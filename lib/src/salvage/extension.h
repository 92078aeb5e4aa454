// SPDX-License-Identifier: GPL-3.0-or-later
// Names as people and systems take them for a kind of file.
#pragma once

#include <string>
#include <string_view>

#include "base/utf8.h"

namespace lacuna {

/// A name without an ISO 9660 version number (ECMA-119 7.5.1), spaces and dots at the end, which Windows passes over.
inline std::string_view without_tail(std::string_view name) {
  const std::size_t digits = name.find_last_not_of("0123456789");
  if (digits != std::string_view::npos && name[digits] == ';') name = name.substr(0, digits);
  while (name.ends_with('.') || name.ends_with(' ')) name.remove_suffix(1);
  return name;
}

/// What stands behind the last dot, in lower case (ASCII); empty without one.
inline std::string extension_of(std::string_view name) {
  name = without_tail(name);
  const std::size_t dot = name.rfind('.');
  return dot == std::string_view::npos ? std::string() : lower_ascii(name.substr(dot + 1));
}

}  // namespace lacuna
