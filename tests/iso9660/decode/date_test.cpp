// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/date.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::iso9660 {
namespace {

using test::Buffer;
using test::for_each_length;
using test::from_hex;
using test::operator+;
using test::from_text;

std::string iso(const std::optional<Timestamp>& t) {
  return t ? (t->known ? to_iso8601(*t) : "not specified") : "nothing";
}

Buffer long_date(std::string_view digits, std::uint8_t zone) { return from_text(digits) + Buffer{zone}; }

// ECMA-119 9.1.5, value from memory: 104 years after 1900, zone in quarters of an hour.
TEST(ShortDate, KnownGood) {
  EXPECT_EQ(iso(decode_short_date(from_hex("68 05 06 07 08 09 08"))), "2004-05-06T07:08:09+02:00");
  EXPECT_EQ(iso(decode_short_date(from_hex("00 01 01 00 00 00 00"))), "1900-01-01T00:00:00+00:00");
  EXPECT_EQ(iso(decode_short_date(from_hex("ff 0c 1f 17 3b 3b 00"))), "2155-12-31T23:59:59+00:00");
  EXPECT_EQ(iso(decode_short_date(from_hex("64 02 1d 00 00 00 d0"))), "2000-02-29T00:00:00-12:00");  // -48
  EXPECT_EQ(iso(decode_short_date(from_hex("64 02 1d 00 00 00 34"))), "2000-02-29T00:00:00+13:00");  // +52
}

TEST(ShortDate, AllZeroIsNotSpecified) { EXPECT_EQ(iso(decode_short_date(Buffer(7))), "not specified"); }

TEST(ShortDate, OutOfRangeIsNothing) {
  for (const char* hex :
       {"64 00 01 00 00 00 00", "64 0d 01 00 00 00 00", "64 01 00 00 00 00 00", "64 02 1e 00 00 00 00",
        "64 01 01 18 00 00 00", "64 01 01 00 3c 00 00", "64 01 01 00 00 3c 00", "64 01 01 00 00 00 cf",
        "64 01 01 00 00 00 35", "00 00 00 00 00 00 01", "ff ff ff ff ff ff ff"}) {
    EXPECT_FALSE(decode_short_date(from_hex(hex))) << hex;
  }
}

TEST(ShortDate, Truncated) {
  for_each_length(from_hex("68 05 06 07 08 09 08"),
                  [](Bytes b) { EXPECT_EQ(decode_short_date(b).has_value(), b.size() == 7); });
}

// ECMA-119 8.4.26.1, value from memory.
TEST(LongDate, KnownGood) {
  EXPECT_EQ(iso(decode_long_date(long_date("2004050607080910", 8))), "2004-05-06T07:08:09.1+02:00");
  EXPECT_EQ(iso(decode_long_date(long_date("0001010100000000", 0))), "0001-01-01T00:00:00+00:00");
  EXPECT_EQ(iso(decode_long_date(long_date("9999123123595999", 0xec))), "9999-12-31T23:59:59.99-05:00");
}

TEST(LongDate, ZeroDigitsAreNotSpecified) {
  EXPECT_EQ(iso(decode_long_date(long_date("0000000000000000", 0))), "not specified");
  EXPECT_EQ(iso(decode_long_date(long_date("0000000000000000", 4))), "not specified");
}

TEST(LongDate, OutOfRangeIsNothing) {
  EXPECT_FALSE(decode_long_date(long_date("2004130607080910", 0)));
  EXPECT_FALSE(decode_long_date(long_date("2003022900000000", 0)));
  EXPECT_FALSE(decode_long_date(long_date("2004050624000000", 0)));
  EXPECT_FALSE(decode_long_date(long_date("2004050607080910", 53)));
  EXPECT_FALSE(decode_long_date(long_date("2004 50607080910", 0)));
  EXPECT_FALSE(decode_long_date(long_date("                ", 0)));
  EXPECT_FALSE(decode_long_date(Buffer(17)));
}

TEST(LongDate, Truncated) {
  for_each_length(long_date("2004050607080910", 8),
                  [](Bytes b) { EXPECT_EQ(decode_long_date(b).has_value(), b.size() == 17); });
}

}  // namespace
}  // namespace lacuna::iso9660
