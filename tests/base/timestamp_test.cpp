// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/timestamp.h"

#include <gtest/gtest.h>

#include <array>
#include <cstdint>
#include <ctime>
#include <limits>

namespace lacuna {
namespace {

std::int64_t seconds_of(int y, int mo, int d, int h = 0, int mi = 0, int s = 0, int zone = 0) {
  const auto t = make_timestamp(y, mo, d, h, mi, s, 0, zone);
  EXPECT_TRUE(t.has_value());
  return t ? t->seconds : -1;
}

TEST(Timestamp, WellKnownMoments) {
  EXPECT_EQ(seconds_of(1970, 1, 1), 0);
  // POSIX rationale A.4.16 and common practice: well-known values of time_t.
  EXPECT_EQ(seconds_of(2001, 9, 9, 1, 46, 40), 1'000'000'000);
  EXPECT_EQ(seconds_of(2009, 2, 13, 23, 31, 30), 1'234'567'890);
  EXPECT_EQ(seconds_of(2038, 1, 19, 3, 14, 7), 2'147'483'647);
  EXPECT_EQ(seconds_of(1901, 12, 13, 20, 45, 52), -2'147'483'648LL);
}

TEST(Timestamp, ZoneIsEastOfGreenwich) {
  EXPECT_EQ(seconds_of(2004, 5, 6, 7, 8, 9, 120), seconds_of(2004, 5, 6, 5, 8, 9));
  EXPECT_EQ(seconds_of(2004, 1, 1, 0, 0, 0, -300), seconds_of(2004, 1, 1, 5, 0, 0));
}

// Every day of 1600 to 2400 against the C library's proleptic Gregorian calendar.
TEST(Timestamp, EveryDayAgreesWithTheCLibrary) {
  for (int year = 1600; year <= 2400; ++year) {
    for (int month = 1; month <= 12; ++month) {
      for (int day = 1; day <= 31; ++day) {
        std::tm tm{};
        tm.tm_year = year - 1900;
        tm.tm_mon = month - 1;
        tm.tm_mday = day;
        const std::int64_t expected = timegm(&tm);
        const auto t = make_timestamp(year, month, day, 0, 0, 0, 0, 0);
        // timegm moves a day that the month doesn't have into the next month.
        ASSERT_EQ(t.has_value(), tm.tm_mday == day) << year << ' ' << month << ' ' << day;
        if (!t) continue;
        ASSERT_EQ(t->seconds, expected);
        std::array<char, 32> text{};
        ASSERT_NE(std::strftime(text.data(), text.size(), "%Y-%m-%dT%H:%M:%S+00:00", &tm), 0u);
        ASSERT_EQ(to_iso8601(*t), text.data());
      }
    }
  }
}

TEST(Timestamp, OutOfRangeIsNothing) {
  EXPECT_FALSE(make_timestamp(0, 1, 1, 0, 0, 0, 0, 0));
  EXPECT_FALSE(make_timestamp(10000, 1, 1, 0, 0, 0, 0, 0));
  EXPECT_FALSE(make_timestamp(2000, 0, 1, 0, 0, 0, 0, 0));
  EXPECT_FALSE(make_timestamp(2000, 13, 1, 0, 0, 0, 0, 0));
  EXPECT_FALSE(make_timestamp(2000, 1, 0, 0, 0, 0, 0, 0));
  EXPECT_TRUE(make_timestamp(2000, 2, 29, 0, 0, 0, 0, 0));
  EXPECT_FALSE(make_timestamp(1900, 2, 29, 0, 0, 0, 0, 0));
  EXPECT_FALSE(make_timestamp(2000, 1, 1, 24, 0, 0, 0, 0));
  EXPECT_FALSE(make_timestamp(2000, 1, 1, 0, 60, 0, 0, 0));
  EXPECT_FALSE(make_timestamp(2000, 1, 1, 0, 0, 60, 0, 0));
  EXPECT_FALSE(make_timestamp(2000, 1, 1, -1, 0, 0, 0, 0));
  EXPECT_FALSE(make_timestamp(2000, 1, 1, 0, 0, 0, -1, 0));
  EXPECT_FALSE(make_timestamp(2000, 1, 1, 0, 0, 0, 1'000'000'000, 0));
  EXPECT_FALSE(make_timestamp(2000, 1, 1, 0, 0, 0, 0, 1441));
  EXPECT_FALSE(make_timestamp(2000, 1, 1, 0, 0, 0, 0, -1441));
}

TEST(Timestamp, Iso8601) {
  EXPECT_EQ(to_iso8601(*make_timestamp(2004, 5, 6, 7, 8, 9, 0, 120)), "2004-05-06T07:08:09+02:00");
  EXPECT_EQ(to_iso8601(*make_timestamp(2004, 5, 6, 7, 8, 9, 50'000'000, -210)), "2004-05-06T07:08:09.05-03:30");
  EXPECT_EQ(to_iso8601(*make_timestamp(1969, 12, 31, 23, 59, 59, 1, 0)), "1969-12-31T23:59:59.000000001+00:00");
  EXPECT_EQ(to_iso8601(*make_timestamp(9999, 12, 31, 23, 59, 59, 0, -1440)), "9999-12-31T23:59:59-24:00");
  EXPECT_EQ(to_iso8601(*make_timestamp(1, 1, 1, 0, 0, 0, 0, 1440)), "0001-01-01T00:00:00+24:00");
  EXPECT_EQ(to_iso8601({}), "");
}

TEST(Timestamp, AbsurdSecondsGiveNoText) {
  Timestamp t{.seconds = std::numeric_limits<std::int64_t>::max(), .zone_minutes = 1440, .known = true};
  EXPECT_EQ(to_iso8601(t), "");
  t.seconds = std::numeric_limits<std::int64_t>::min();
  EXPECT_EQ(to_iso8601(t), "");
  t.seconds = 253402300800;  // 10000-01-01T00:00:00Z
  t.zone_minutes = 0;
  EXPECT_EQ(to_iso8601(t), "");
}

}  // namespace
}  // namespace lacuna
