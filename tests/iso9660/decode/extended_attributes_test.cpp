// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/extended_attributes.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::iso9660 {
namespace {

using test::both16_bytes;
using test::Buffer;
using test::for_each_length;
using test::from_hex;
using test::operator+;
using test::put;

/// ECMA-119 9.5, offsets from memory.
Buffer ear(const Buffer& application = {}, const Buffer& escapes = {}) {
  Buffer b(kEarFixedBytes);
  put(b, 0, both16_bytes(11));
  put(b, 4, both16_bytes(22));
  put(b, 8, from_hex("aa ab"));
  put(b, 10, "2001010203040506");
  put(b, 27, "2002010203040506");
  put(b, 44, "0000000000000000");
  put(b, 61, "0000000000000000");
  b[78] = 1;
  b[79] = 2;
  put(b, 80, both16_bytes(80));
  put(b, 84, "SYSTEM");
  put(b, 116, "USE");
  b[180] = 1;
  b[181] = static_cast<std::uint8_t>(escapes.size());
  put(b, 246, both16_bytes(static_cast<std::uint16_t>(application.size())));
  return b + application + escapes;
}

TEST(ExtendedAttributes, KnownGood) {
  const Buffer b = ear({1, 2, 3}, {4, 5}) + Buffer(100, 0xee);
  const auto a = decode_extended_attributes(b);
  ASSERT_TRUE(a);
  EXPECT_EQ(a->owner.value(), 11);
  EXPECT_EQ(a->group.value(), 22);
  EXPECT_EQ(a->permissions, 0xaaab);
  EXPECT_EQ(to_iso8601(a->created), "2001-01-02T03:04:05.06+00:00");
  EXPECT_EQ(to_iso8601(a->modified), "2002-01-02T03:04:05.06+00:00");
  EXPECT_FALSE(a->expires.known);
  EXPECT_EQ(a->record_format, 1);
  EXPECT_EQ(a->record_attributes, 2);
  EXPECT_EQ(a->record_length.value(), 80);
  EXPECT_EQ(as_text(a->system_id).substr(0, 6), "SYSTEM");
  EXPECT_EQ(as_text(a->system_use).substr(0, 3), "USE");
  EXPECT_EQ(a->version, 1);
  EXPECT_EQ(Buffer(a->application_use.begin(), a->application_use.end()), (Buffer{1, 2, 3}));
  EXPECT_EQ(Buffer(a->escape_sequences.begin(), a->escape_sequences.end()), (Buffer{4, 5}));
  EXPECT_EQ(a->problems, 0u);
}

TEST(ExtendedAttributes, Truncated) {
  const Buffer b = ear({1, 2, 3}, {4, 5});
  for_each_length(b, [&](Bytes cut) {
    const auto a = decode_extended_attributes(cut);
    ASSERT_EQ(a.has_value(), cut.size() >= kEarFixedBytes);
    if (a) {
      EXPECT_EQ(a->problems, cut.size() == b.size() ? 0u : ear_problem::kLengths);
    }
  });
}

TEST(ExtendedAttributes, MaximalLengths) {
  Buffer b = ear();
  b[181] = 255;
  put(b, 246, both16_bytes(65535));
  EXPECT_EQ(decode_extended_attributes(b)->problems, ear_problem::kLengths);
  b.resize(kEarFixedBytes + 65535 + 255);
  const auto a = decode_extended_attributes(b);
  EXPECT_EQ(a->problems, 0u);
  EXPECT_EQ(a->application_use.size(), 65535u);
  EXPECT_EQ(a->escape_sequences.size(), 255u);
}

TEST(ExtendedAttributes, Problems) {
  const struct {
    std::size_t at;
    std::uint32_t problems;
  } kCases[] = {{0, ear_problem::kOwnerHalves}, {7, ear_problem::kGroupHalves}, {8, ear_problem::kPermissions},
                {10, ear_problem::kDate},       {61, ear_problem::kDate},       {180, ear_problem::kVersion},
                {246, ear_problem::kLengths}};
  for (const auto& c : kCases) {
    Buffer b = ear();
    b[c.at] ^= 0x80;
    EXPECT_EQ(decode_extended_attributes(b)->problems, c.problems) << c.at;
  }
}

}  // namespace
}  // namespace lacuna::iso9660
