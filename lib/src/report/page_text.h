// SPDX-License-Identifier: GPL-3.0-or-later
// The page's sources, from the files in page/ (lib/cmake/embed-page.cmake).
#pragma once

#include <string_view>

namespace lacuna::report {

/// page.html up to the discs, and behind them.
std::string_view page_head();
std::string_view page_foot();
std::string_view page_style();
std::string_view page_script();

}  // namespace lacuna::report
