// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/basic.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::for_each_length;
using test::from_hex;
using test::Layout;

std::string iso(const RecordedTime& t) { return to_iso8601(t.time); }
Buffer sample_time() { return Layout(12).time(0).bytes(); }

TEST(RecordedTime, Local) {
  const RecordedTime t = decode_timestamp(sample_time());
  EXPECT_EQ(iso(t), test::kSampleTime);
  EXPECT_TRUE(t.has_zone);
  EXPECT_EQ(t.type, 1);
  EXPECT_EQ(t.problems, 0u);
}

// UDF 2.1.4.1: Eastern Standard Time is -300 minutes, so 1ED4 with type 1 in front (from memory).
TEST(RecordedTime, ZoneWestOfGreenwich) {
  const RecordedTime t = decode_timestamp(from_hex("D4 1E D4 07 05 06 07 08 09 00 00 00"));
  EXPECT_EQ(iso(t), "2004-05-06T07:08:09-05:00");
  EXPECT_EQ(t.problems, 0u);
}

// ECMA-167 1/7.3.1: -2047 (801 in 12 bits) says that no zone is specified.
TEST(RecordedTime, NoZone) {
  const RecordedTime t = decode_timestamp(from_hex("01 18 D4 07 05 06 07 08 09 00 00 00"));
  EXPECT_EQ(iso(t), "2004-05-06T07:08:09+00:00");
  EXPECT_FALSE(t.has_zone);
  EXPECT_EQ(t.problems, 0u);
}

TEST(RecordedTime, ZoneBounds) {
  const auto with_zone = [](int zone) {
    Buffer b = sample_time();
    const unsigned v = 1u << 12 | (static_cast<unsigned>(zone) & 0xfff);
    b[0] = static_cast<std::uint8_t>(v);
    b[1] = static_cast<std::uint8_t>(v >> 8);
    return decode_timestamp(b);
  };
  for (const int zone : {-1440, -1, 0, 1, 1440}) {
    EXPECT_TRUE(with_zone(zone).has_zone);
    EXPECT_EQ(with_zone(zone).time.zone_minutes, zone);
    EXPECT_EQ(with_zone(zone).problems, 0u);
  }
  for (const int zone : {-2048, -2046, -1441, 1441, 2047}) {
    EXPECT_FALSE(with_zone(zone).has_zone);
    EXPECT_EQ(with_zone(zone).time.zone_minutes, 0);
    EXPECT_EQ(with_zone(zone).problems, time_problem::kZone);
  }
}

TEST(RecordedTime, Types) {
  Buffer b = sample_time();  // the zone's 12 bits say +02:00, which counts for type 1 only
  b[1] = 0x00;
  EXPECT_EQ(iso(decode_timestamp(b)), "2004-05-06T07:08:09.123456+00:00");
  EXPECT_TRUE(decode_timestamp(b).has_zone);
  b[1] = 0x20;
  EXPECT_EQ(iso(decode_timestamp(b)), "2004-05-06T07:08:09.123456+00:00");
  EXPECT_FALSE(decode_timestamp(b).has_zone);
  EXPECT_EQ(decode_timestamp(b).problems, 0u);
  b[1] = 0x30;
  EXPECT_EQ(decode_timestamp(b).problems, time_problem::kType);
  EXPECT_TRUE(decode_timestamp(b).time.known);
}

TEST(RecordedTime, AllZeroIsNotSpecified) {
  const RecordedTime t = decode_timestamp(Buffer(12));
  EXPECT_FALSE(t.time.known);
  EXPECT_EQ(t.problems, 0u);
}

TEST(RecordedTime, FieldsOutOfRange) {
  const std::pair<std::size_t, std::uint8_t> cases[] = {{4, 0}, {4, 13}, {5, 0}, {5, 32}, {6, 24}, {7, 60}, {8, 60}};
  for (const auto& [at, value] : cases) {
    Buffer b = sample_time();
    b[at] = value;
    EXPECT_EQ(decode_timestamp(b).problems, time_problem::kNotADate) << at;
    EXPECT_EQ(decode_timestamp(b).time, Timestamp{});
  }
  Buffer b = sample_time();
  b[2] = b[3] = 0xff;  // the year is signed
  EXPECT_EQ(decode_timestamp(b).problems, time_problem::kNotADate);
  b[2] = 0x0f, b[3] = 0x27;  // 9999
  EXPECT_EQ(decode_timestamp(b).problems, 0u);
}

TEST(RecordedTime, BogusFractionsAreTakenAsZero) {
  for (const std::size_t at : {9u, 10u, 11u}) {
    Buffer b = sample_time();
    b[at] = 100;
    EXPECT_EQ(iso(decode_timestamp(b)), "2004-05-06T07:08:09+02:00");
    EXPECT_EQ(decode_timestamp(b).problems, time_problem::kFraction);
    b[at] = 99;
    EXPECT_EQ(decode_timestamp(b).problems, 0u);
  }
}

TEST(RecordedTime, Truncated) {
  for_each_length(sample_time(), [](Bytes b) {
    EXPECT_EQ(decode_timestamp(b).problems, b.size() < 12 ? time_problem::kNotADate : 0u);
  });
}

TEST(RecordedTime, ProblemsReachTheStructure) {
  std::uint32_t problems = 2;
  EXPECT_TRUE(time_at(sample_time(), 0, 64, problems).known);
  EXPECT_EQ(problems, 2u);
  EXPECT_FALSE(time_at(Buffer(20, 0xee), 3, 64, problems).known);
  EXPECT_EQ(problems, 66u);
}

TEST(Regid, IdentifierAndSuffixes) {
  const Buffer b = Layout(32).u8(0, 2).regid(0, "*OSTA UDF Compliant", 0x0250).u8(26, 3).u8(27, 4).bytes();
  const Regid r = regid_at(b, 0);
  EXPECT_EQ(r.flags(), 2);
  EXPECT_EQ(r.identifier(), "*OSTA UDF Compliant");
  EXPECT_TRUE(r.is("*OSTA UDF Compliant"));
  EXPECT_FALSE(r.is("*OSTA UDF"));
  EXPECT_EQ(r.revision(), 0x0250);  // UDF 2.1.5.3: 2.50 in BCD
  EXPECT_EQ(r.domain_flags(), 3);
  EXPECT_EQ(r.udf_system().os_class, 3);
  EXPECT_EQ(r.udf_system().os_identifier, 4);
  EXPECT_EQ(r.implementation_system().os_class, 0x50);
  EXPECT_EQ(r.implementation_system().os_identifier, 0x02);
  EXPECT_EQ(r.suffix().size(), 8u);
}

TEST(Regid, FullLengthEmptyAndNone) {
  const std::string name(23, 'n');
  const Buffer b = Layout(32).text(1, name).u8(24, 'x').bytes();
  EXPECT_EQ(regid_at(b, 0).identifier(), name);
  const Buffer zeros(32);
  EXPECT_EQ(regid_at(zeros, 0).identifier(), "");
  const Regid none;
  EXPECT_EQ(none.identifier(), "");
  EXPECT_EQ(none.revision(), 0);
  EXPECT_EQ(none.flags(), 0);
  EXPECT_EQ(none.domain_flags(), 0);
  EXPECT_EQ(none.udf_system().os_class, 0);
  EXPECT_TRUE(none.suffix().empty());
}

TEST(Regid, SystemNames) {
  EXPECT_EQ(os_class_name(4), "UNIX");
  EXPECT_EQ(os_class_name(0), "");
  EXPECT_EQ(os_class_name(10), "");
  EXPECT_EQ(os_class_name(255), "");
}

// UDF 2.1.2 gives the bytes of the name (from memory).
TEST(Charspec, OstaCompressedUnicode) {
  Buffer b = from_hex("00 4F 53 54 41 20 43 6F 6D 70 72 65 73 73 65 64 20 55 6E 69 63 6F 64 65");
  b.resize(64);
  EXPECT_TRUE(is_osta_charspec(b));
  EXPECT_FALSE(is_osta_charspec(Bytes(b).first(63)));
  b[63] = 1;
  EXPECT_FALSE(is_osta_charspec(b));
  b[63] = 0;
  b[0] = 1;
  EXPECT_FALSE(is_osta_charspec(b));
  EXPECT_FALSE(is_osta_charspec(Buffer(64)));
}

TEST(Extents, TypesAndLengths) {
  EXPECT_EQ(extent_type(0x3fffffff), ExtentType::kRecorded);
  EXPECT_EQ(extent_type(0x40000000), ExtentType::kUnrecorded);
  EXPECT_EQ(extent_type(0x80000000), ExtentType::kUnallocated);
  EXPECT_EQ(extent_type(0xffffffff), ExtentType::kContinued);
  EXPECT_EQ(extent_bytes(0xffffffff), kMaxExtentBytes);
  EXPECT_EQ(extent_bytes(0x80000000), 0u);
}

TEST(Extents, ShortLongExtended) {
  const Buffer b = from_hex("EE 00 08 00 40 05 00 00 00 02 01 01 00 44 33 22 11 AA AA AA");
  const ShortAd s = short_ad_at(b, 1);
  EXPECT_EQ(s.type, ExtentType::kUnrecorded);
  EXPECT_EQ(s.length_bytes, 2048u);
  EXPECT_EQ(s.block, 5u);
  const LongAd l = long_ad_at(b, 1);
  EXPECT_EQ(l.type, ExtentType::kUnrecorded);
  EXPECT_EQ(l.length_bytes, 2048u);
  EXPECT_EQ(l.location, (LbAddr{5, 0x0102}));
  EXPECT_EQ(l.flags, 1);
  EXPECT_TRUE(l.erased());
  EXPECT_EQ(l.unique_id, 0x11223344u);

  const Buffer e = from_hex("00 10 00 80 00 08 00 C0 01 20 00 00 07 00 00 00 03 00 00 00");
  const ExtAd x = ext_ad_at(e, 0);
  EXPECT_EQ(x.type, ExtentType::kUnallocated);
  EXPECT_EQ(x.length_bytes, 4096u);
  EXPECT_EQ(x.recorded_bytes, 2048u);
  EXPECT_EQ(x.information_bytes, 8193u);
  EXPECT_EQ(x.location, (LbAddr{7, 3}));
}

}  // namespace
}  // namespace lacuna::udf
