// SPDX-License-Identifier: GPL-3.0-or-later
// Civil dates without a time zone database. Both conversions use years that begin in March, so that the leap day is the
// last of its year and months have a regular length.
#include "lacuna/timestamp.h"

#include <fmt/format.h>

#include <string>

namespace lacuna {
namespace {

constexpr std::int64_t kSecondsPerDay = 86400;
constexpr std::int64_t kDaysPerEra = 146097;  // 400 years
constexpr std::int64_t kEpoch = 719468;       // days from 0000-03-01 to 1970-01-01
constexpr int kMaxZoneMinutes = 24 * 60;

constexpr bool is_leap(int year) { return (year % 4 == 0 && year % 100 != 0) || year % 400 == 0; }

constexpr int days_in_month(int year, int month) {
  constexpr int kDays[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  return kDays[month - 1] + (month == 2 && is_leap(year) ? 1 : 0);
}

/// Days since 1970-01-01; years from 1 on.
constexpr std::int64_t days_from_civil(int year, int month, int day) {
  const int y = month <= 2 ? year - 1 : year;
  const int era = y / 400;
  const int year_of_era = y % 400;
  const int day_of_year = (153 * (month > 2 ? month - 3 : month + 9) + 2) / 5 + day - 1;
  const int day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
  return era * kDaysPerEra + day_of_era - kEpoch;
}
static_assert(days_from_civil(1970, 1, 1) == 0);
static_assert(days_from_civil(2000, 3, 1) == 11017);

struct Civil {
  std::int64_t year;
  int month, day;
};

constexpr Civil civil_from_days(std::int64_t days) {
  const std::int64_t z = days + kEpoch;
  const std::int64_t era = (z >= 0 ? z : z - (kDaysPerEra - 1)) / kDaysPerEra;
  const int day_of_era = static_cast<int>(z - era * kDaysPerEra);
  const int year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
  const int day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
  const int shifted_month = (5 * day_of_year + 2) / 153;
  const int day = day_of_year - (153 * shifted_month + 2) / 5 + 1;
  const int month = shifted_month < 10 ? shifted_month + 3 : shifted_month - 9;
  return {era * 400 + year_of_era + (month <= 2 ? 1 : 0), month, day};
}

}  // namespace

std::optional<Timestamp> make_timestamp(int year, int month, int day, int hour, int minute, int second,
                                        std::int32_t nanoseconds, int zone_minutes) {
  if (year < 1 || year > 9999 || month < 1 || month > 12 || day < 1 || day > days_in_month(year, month)) return {};
  if (hour < 0 || hour > 23 || minute < 0 || minute > 59 || second < 0 || second > 59) return {};
  if (nanoseconds < 0 || nanoseconds > 999'999'999) return {};
  if (zone_minutes < -kMaxZoneMinutes || zone_minutes > kMaxZoneMinutes) return {};
  const std::int64_t local =
      days_from_civil(year, month, day) * kSecondsPerDay + (hour * 60 + minute) * std::int64_t{60} + second;
  return Timestamp{local - std::int64_t{zone_minutes} * 60, nanoseconds, static_cast<std::int16_t>(zone_minutes), true};
}

std::string to_iso8601(const Timestamp& t) {
  // Far beyond the years 0 to 9999, and far from any overflow.
  constexpr std::int64_t kFar = 400'000'000'000;
  if (!t.known || t.seconds < -kFar || t.seconds > kFar) return {};
  const std::int64_t local = t.seconds + std::int64_t{t.zone_minutes} * 60;
  const std::int64_t days = (local >= 0 ? local : local - (kSecondsPerDay - 1)) / kSecondsPerDay;
  const int second_of_day = static_cast<int>(local - days * kSecondsPerDay);
  const Civil c = civil_from_days(days);
  if (c.year < 0 || c.year > 9999) return {};

  std::string text = fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}", c.year, c.month, c.day, second_of_day / 3600,
                                 second_of_day / 60 % 60, second_of_day % 60);
  if (t.nanoseconds > 0) {
    text += fmt::format(".{:09}", t.nanoseconds);
    text.erase(text.find_last_not_of('0') + 1);
  }
  const int zone = t.zone_minutes < 0 ? -t.zone_minutes : t.zone_minutes;
  return text + fmt::format("{}{:02}:{:02}", t.zone_minutes < 0 ? '-' : '+', zone / 60, zone % 60);
}

}  // namespace lacuna
