// SPDX-License-Identifier: GPL-3.0-or-later
// Html: text from anywhere as the content of elements and of quoted attributes.
#pragma once

#include <string>
#include <string_view>

namespace lacuna::report {

/// As shown() has it, and with the characters that mean something in HTML as references: data, never markup.
std::string html(std::string_view text);

}  // namespace lacuna::report
