// SPDX-License-Identifier: GPL-3.0-or-later
// CsvRow: fields as RFC 4180 wants them: CRLF at the end of a record, quotes where a field needs them.
#pragma once

#include <string_view>

#include "report/out.h"

namespace lacuna::report {

class CsvRow {
 public:
  explicit CsvRow(Out& out) : out_(out) {}

  CsvRow& add(std::string_view field) {
    separate();
    // Spaces at the ends are part of a field (RFC 4180 2.4), but some readers trim them unless quoted.
    const bool quote = field.find_first_of(",\"\r\n") != std::string_view::npos ||
                       (!field.empty() && (field.front() == ' ' || field.back() == ' '));
    if (!quote) {
      out_.add(field);
      return *this;
    }
    out_.add('"');
    for (const char c : field) {
      if (c == '"') out_.add('"');
      out_.add(c);
    }
    out_.add('"');
    return *this;
  }
  CsvRow& add(std::uint64_t number) {
    separate();
    out_.print("{}", number);
    return *this;
  }
  void end() {
    out_.add("\r\n");
    first_ = true;
  }

 private:
  void separate() {
    if (!first_) out_.add(',');
    first_ = false;
  }

  Out& out_;
  bool first_ = true;
};

}  // namespace lacuna::report
