// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/cs0.h"

#include <gtest/gtest.h>

#include "base/text.h"
#include "iso9660/decode/bytes_of.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::from_hex;
using test::from_text;
using test::operator+;

std::string name_of(const Buffer& text, Cs0Form expected) {
  std::string name = "before/";
  EXPECT_EQ(append_cs0_name(name, text), expected);
  EXPECT_TRUE(name.starts_with("before/"));
  return name.substr(7);
}

// UDF 2.1.1: 8 and 16 say how many bits a character has.
TEST(Cs0, EightBits) {
  EXPECT_EQ(name_of(from_hex("08 41 62 2E 63"), Cs0Form::k8), "Ab.c");
  EXPECT_EQ(name_of(from_hex("08 E4 FF 80"), Cs0Form::k8), "\u00e4\u00ff\u0080");
}

TEST(Cs0, SixteenBits) {
  EXPECT_EQ(name_of(from_hex("10 00 41 30 42 00 E4"), Cs0Form::k16), "A\u3042\u00e4");
  EXPECT_EQ(name_of(from_hex("10 D8 3D DE 00"), Cs0Form::k16), "\U0001f600");
}

TEST(Cs0, UnpairedSurrogatesAndOddBytesCanBeUndone) {
  const std::string name = name_of(from_hex("10 D8 3D 00 41 42"), Cs0Form::k16);
  EXPECT_EQ(name, "%D8%3DA%42");
  EXPECT_EQ(unescape_name(name),
            "\xd8\x3d"
            "AB");
}

TEST(Cs0, WhatAPathMustNotHold) {
  EXPECT_EQ(name_of(from_hex("08 61 2F 01 7F"), Cs0Form::k8), "a%2F%01%7F");
  EXPECT_EQ(name_of(from_hex("08 E4 2F 25 34 31"), Cs0Form::k8), "\u00e4%2F%2541");
  EXPECT_EQ(name_of(from_hex("10 00 61 00 2F"), Cs0Form::k16), "a%2F");
}

// UDF 2.1.1: 254 and 255 mark the identifier of a deleted file, its characters those of 8 and 16.
TEST(Cs0, DeletedForms) {
  EXPECT_EQ(name_of(from_hex("FE 61 62"), Cs0Form::kDeleted8), "ab");
  EXPECT_EQ(name_of(from_hex("FF 00 61 00 62"), Cs0Form::kDeleted16), "ab");
}

TEST(Cs0, NoCompressionId) {
  EXPECT_EQ(name_of({}, Cs0Form::kEmpty), "");
  EXPECT_EQ(name_of(from_hex("08"), Cs0Form::k8), "");
  EXPECT_EQ(name_of(from_hex("10"), Cs0Form::k16), "");
  for (unsigned id = 0; id < 256; ++id) {
    const bool known = id == 8 || id == 16 || id >= 254;
    EXPECT_EQ(cs0_form(Buffer{static_cast<std::uint8_t>(id)}) == Cs0Form::kUnknown, !known) << id;
  }
  EXPECT_EQ(name_of(from_text("abc"), Cs0Form::kUnknown), "abc");
  EXPECT_EQ(name_of(from_hex("00 E4 61"), Cs0Form::kUnknown), "%00%E4a");
}

TEST(Cs0, Display) {
  EXPECT_EQ(cs0_display(from_hex("08 61 2F 25 E4 20 20")), "a/%\u00e4");
  EXPECT_EQ(cs0_display(from_hex("10 00 61 00 2F 00 00")), "a/");
  EXPECT_EQ(cs0_display(from_hex("FE 61")), "a");
  EXPECT_EQ(cs0_display(from_hex("FF 00 61")), "a");
  EXPECT_EQ(cs0_display({}), "");
  EXPECT_EQ(cs0_display(from_hex("41 42")), "AB");
}

// ECMA-167 1/7.2.12: the last byte counts, what is not used is zero.
TEST(DstringField, Counts) {
  Buffer b = from_hex("08 41 42 43") + Buffer(28);
  b[31] = 4;
  const Dstring d = decode_dstring(b);
  EXPECT_TRUE(d.count_valid);
  EXPECT_EQ(d.text.size(), 4u);
  EXPECT_EQ(dstring_display(b), "ABC");
  EXPECT_TRUE(is_dstring(b));
  b[31] = 3;
  EXPECT_EQ(dstring_display(b), "AB");
  b[31] = 0;
  EXPECT_EQ(dstring_display(b), "");
  EXPECT_TRUE(is_dstring(b));
  b[31] = 31;
  EXPECT_TRUE(decode_dstring(b).count_valid);
  EXPECT_EQ(decode_dstring(b).text.size(), 31u);
}

TEST(DstringField, ImpossibleCount) {
  Buffer b = from_hex("08 41 42 43") + Buffer(28);
  b[31] = 32;
  const Dstring d = decode_dstring(b);
  EXPECT_FALSE(d.count_valid);
  EXPECT_EQ(d.text.size(), 4u);
  EXPECT_EQ(dstring_display(b), "ABC");
  EXPECT_FALSE(is_dstring(b));
}

TEST(DstringField, Extremes) {
  EXPECT_FALSE(decode_dstring({}).count_valid);
  EXPECT_FALSE(is_dstring({}));
  EXPECT_TRUE(is_dstring(Buffer{0}));
  EXPECT_FALSE(is_dstring(Buffer{1}));
  EXPECT_FALSE(is_dstring(from_hex("41 42 02")));
  EXPECT_TRUE(is_dstring(Buffer(128)));
  const Buffer full = Buffer{8} + Buffer(126, 'x') + Buffer{127};
  EXPECT_EQ(dstring_display(full), std::string(126, 'x'));
}

}  // namespace
}  // namespace lacuna::udf
