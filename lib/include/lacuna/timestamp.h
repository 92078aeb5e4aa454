// SPDX-License-Identifier: GPL-3.0-or-later
// Timestamp: a date as a disc recorded it, with its zone.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "lacuna/export.h"

namespace lacuna {

/// A point in time and the zone that it was written in.
struct LACUNA_API Timestamp {
  std::int64_t seconds = 0;       ///< Since 1970-01-01T00:00:00Z.
  std::int32_t nanoseconds = 0;   ///< 0..999999999
  std::int16_t zone_minutes = 0;  ///< East of Greenwich; 0 when the disc names none.
  bool known = false;             ///< False: the disc does not say (all other members are then 0).

  friend bool operator==(const Timestamp&, const Timestamp&) = default;
};

/// The local fields of a date; nothing when one is out of its range (leap days included, second 60 is not; years 1 to
/// 9999, zones up to 24 hours). Thread-safe, uses no time zone database.
LACUNA_API std::optional<Timestamp> make_timestamp(int year, int month, int day, int hour, int minute, int second,
                                                   std::int32_t nanoseconds, int zone_minutes);

/// ISO 8601 in the zone recorded, "2004-05-06T07:08:09+02:00", with a fraction when it is not zero; empty when not
/// known or outside the years 0 to 9999.
LACUNA_API std::string to_iso8601(const Timestamp& t);

}  // namespace lacuna
