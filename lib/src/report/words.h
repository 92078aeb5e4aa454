// SPDX-License-Identifier: GPL-3.0-or-later
// Words: how counts, dates and names are put for people.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "lacuna/report.h"
#include "lacuna/timestamp.h"

namespace lacuna::report {

/// "1 file", "12,345 files"; `plural` when it is not made with an s.
std::string counted(std::uint64_t number, std::string_view noun, std::string_view plural = {});

/// Appends shown(text).
void append_shown(std::string& to, std::string_view text);

/// "2.50" of a UDF revision in BCD (UDF 2.1.5.3).
std::string udf_revision(std::uint16_t bcd);

/// "LBA 12" or "LBA 12 to 19".
std::string lba_range(std::uint64_t first, std::uint64_t count);

/// "95.2 %"; never 0 for something, never 100 for less than all.
std::string share(std::uint64_t part, std::uint64_t all);

/// "2004-05-06 07:08" in the zone recorded. Remembers the last day, because files come in runs of one day: the calendar
/// is then asked once a day and not once a file.
class Dates {
 public:
  /// Valid until the next call. Blanks of the same width when the date is not known.
  std::string_view minute(const Timestamp& t);
  static constexpr std::size_t kWidth = 16;

 private:
  std::int64_t day_ = -1;
  bool day_known_ = false;
  std::string text_;
};

}  // namespace lacuna::report
