// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/text.h"

#include <gtest/gtest.h>

#include <cstdint>
#include <random>
#include <string>
#include <vector>

namespace lacuna {
namespace {

std::string name(std::string_view raw) {
  std::string to;
  append_name_utf8(to, as_bytes(raw));
  return to;
}

/// Big-endian units.
std::string ucs2(std::u16string_view units) {
  std::string raw;
  for (const char16_t u : units) {
    raw += static_cast<char>(u >> 8);
    raw += static_cast<char>(u & 0xff);
  }
  return raw;
}
std::string ucs2_name(std::string_view raw) {
  std::string to;
  append_name_ucs2(to, as_bytes(raw));
  return to;
}

TEST(Text, WellFormedUtf8Stays) {
  for (const char* text : {"", "README", "Füße", "\u65e5\u672c", "\U0001f4bf", "100%", "50% off", "%", "%4", "%zz",
                           "\uffff", "\xed\x9f\xbf", "\ue000", "\U0010ffff", "\u0080"}) {
    EXPECT_EQ(name(text), text);
  }
}

// The Unicode Standard, table 3-7 and chapter 3.9: ill-formed subsequences.
TEST(Text, IllFormedUtf8IsEscaped) {
  EXPECT_EQ(name("\xc0\xaf"), "%C0%AF");                // overlong '/'
  EXPECT_EQ(name("\xc1\xbf"), "%C1%BF");                // overlong
  EXPECT_EQ(name("\xe0\x9f\xbf"), "%E0%9F%BF");         // overlong
  EXPECT_EQ(name("\xf0\x8f\xbf\xbf"), "%F0%8F%BF%BF");  // overlong
  EXPECT_EQ(name("\xed\xa0\x80"), "%ED%A0%80");         // surrogate
  EXPECT_EQ(name("\xf4\x90\x80\x80"), "%F4%90%80%80");  // above 10FFFF
  EXPECT_EQ(name("\xf5\x80\x80\x80"), "%F5%80%80%80");
  EXPECT_EQ(name("\xff"), "%FF");
  EXPECT_EQ(name("\x80"), "%80");
  EXPECT_EQ(name("a\xe2\x82"), "a%E2%82");  // cut off
  EXPECT_EQ(name("\xe2\x82z"), "%E2%82z");
  EXPECT_EQ(name("\xfc"), "%FC");  // 'ü' of Latin-1
}

TEST(Text, WhatATreeNameMustNotHoldIsEscaped) {
  EXPECT_EQ(name("a/b"), "a%2Fb");
  EXPECT_EQ(name(std::string_view("a\0b", 3)), "a%00b");
  EXPECT_EQ(name("a\nb\x1b\x7f"), "a%0Ab%1B%7F");
  EXPECT_EQ(name("%41"), "%2541");
  EXPECT_EQ(name("%aF"), "%25aF");
}

TEST(Text, EscapingCanBeUndoneForAnyBytes) {
  std::mt19937 random(1);
  const std::string_view often = "%%4/fA\xc3\xa4\xe2\x82\xac\0\n";
  for (int round = 0; round < 20000; ++round) {
    std::string raw(random() % 9, '\0');
    for (char& c : raw) c = random() % 3 != 0 ? often[random() % often.size()] : static_cast<char>(random());
    const std::string escaped = name(raw);
    ASSERT_EQ(unescape_name(escaped), raw);
    ASSERT_EQ(escaped.find('/'), std::string::npos);
    // Well-formed and without control characters: nothing in it has to be escaped for display.
    ASSERT_EQ(field_text(as_bytes(escaped + 'x')), escaped + 'x');
  }
}

TEST(Text, Ucs2) {
  EXPECT_EQ(ucs2_name(ucs2(u"Füße.txt")), "Füße.txt");
  EXPECT_EQ(ucs2_name(ucs2(u"\u65e5\u672c")), "\u65e5\u672c");
  EXPECT_EQ(ucs2_name(ucs2(u"\U0001f4bf")), "\U0001f4bf");
  EXPECT_EQ(ucs2_name(ucs2(u"\U0010ffff\U00010000")), "\U0010ffff\U00010000");
  EXPECT_EQ(ucs2_name(""), "");
}

TEST(Text, Ucs2ThatIsNoTextIsEscaped) {
  EXPECT_EQ(ucs2_name(std::string_view("\xd8\x3d", 2)), "%D8%3D");
  EXPECT_EQ(ucs2_name(std::string_view("\xd8\x3d\x00\x41", 4)), "%D8%3DA");
  EXPECT_EQ(ucs2_name(std::string_view("\xdc\xbf\xd8\x3d", 4)), "%DC%BF%D8%3D");
  EXPECT_EQ(ucs2_name(std::string_view("\xff\xfe\xff\xff\xff\xfd", 6)), "%FF%FE%FF%FF\ufffd");
  EXPECT_EQ(ucs2_name(std::string_view("\x00\x41\x42", 3)), "A%42");
  EXPECT_EQ(ucs2_name(std::string_view("\xd8\x3d\xdc", 3)), "%D8%3D%DC");
  EXPECT_EQ(ucs2_name(ucs2(u"a/b%41%")), "a%2Fb%2541%");
  EXPECT_EQ(ucs2_name(std::string_view("\x00\x00\x00\x0a", 4)), "%00%0A");
}

TEST(Text, EveryScalarValueRoundTrips) {
  for (char32_t c = 0x20; c <= 0x10ffff; ++c) {
    if ((c >= 0xd800 && c <= 0xdfff) || c == '/' || c == 0x7f || c == 0xfffe || c == 0xffff) continue;
    std::string utf8;
    append_utf8(utf8, c);
    ASSERT_EQ(name(utf8), utf8) << std::hex << static_cast<std::uint32_t>(c);
    std::u16string units;
    if (c < 0x10000) {
      units += static_cast<char16_t>(c);
    } else {
      units += static_cast<char16_t>(0xd800 + ((c - 0x10000) >> 10));
      units += static_cast<char16_t>(0xdc00 + ((c - 0x10000) & 0x3ff));
    }
    ASSERT_EQ(ucs2_name(ucs2(units)), utf8);
  }
}

TEST(Text, FieldsAreTrimmedAndKeepSlashAndPercent) {
  EXPECT_EQ(field_text(as_bytes("HOLIDAY/%41   ")), "HOLIDAY/%41");
  EXPECT_EQ(field_text(as_bytes(std::string_view("A B \0 \0\0", 8))), "A B");
  EXPECT_EQ(field_text(as_bytes("   ")), "");
  EXPECT_EQ(field_text(as_bytes("A\x01\xff")), "A%01%FF");
  EXPECT_EQ(field_text_ucs2(as_bytes(ucs2(u"Ä/%41  ") + std::string("\0\0", 2))), "Ä/%41");
  EXPECT_EQ(field_text_ucs2(as_bytes(ucs2(u"AB") + " ")), "AB");
  EXPECT_EQ(field_text_ucs2({}), "");
}

std::string decoded(const std::string& charset, std::string_view raw) {
  auto decoder = NameDecoder::open(charset);
  if (!decoder) return "unknown charset";
  std::string to = "<";
  decoder->append(to, as_bytes(raw));
  return to + ">";
}

TEST(NameDecoder, NoCharsetIsUtf8) { EXPECT_EQ(decoded("", "\xc3\xa4\xff/"), "<ä%FF%2F>"); }

// Values from the code pages' published tables, from memory.
TEST(NameDecoder, CodePages) {
  EXPECT_EQ(decoded("ISO-8859-1", "F\xfc\xdf"), "<Füß>");
  EXPECT_EQ(decoded("CP437", "\x81\xe1"), "<üß>");
  EXPECT_EQ(decoded("CP1251", "\xcc\xe8\xf0"), "<Мир>");
  EXPECT_EQ(decoded("SHIFT_JIS", "\x93\xfa\x96\x7b"), "<日本>");
  EXPECT_EQ(decoded("KOI8-R", "\xed\xc9\xd2"), "<Мир>");
}

TEST(NameDecoder, UndefinedBytesAreEscaped) {
  EXPECT_EQ(decoded("ASCII", "a\xe4z"), "<a%E4z>");
  EXPECT_EQ(decoded("CP1252", "a\x81z"), "<a%81z>");
  EXPECT_EQ(decoded("SHIFT_JIS", "A\x93"), "<A%93>");  // cut off
  EXPECT_EQ(decoded("ISO-8859-1", "a/b\n%41"), "<a%2Fb%0A%2541>");
}

// Converters of these charsets hold a character back to see whether the next one combines with it.
TEST(NameDecoder, CharacterHeldBackIsNotLost) {
  EXPECT_EQ(decoded("BIG5-HKSCS", "\x88\x66"), "<\u00ca>");
  EXPECT_EQ(decoded("BIG5-HKSCS", "\x88\x66\xff"), "<\u00ca%FF>");
  EXPECT_EQ(decoded("TCVN5712-1", "A"), "<A>");
}

TEST(NameDecoder, LongNamesAndManyNames) {
  auto decoder = NameDecoder::open("ISO-8859-1");
  ASSERT_TRUE(decoder.ok());
  const std::string raw(10000, '\xe4');
  for (int i = 0; i < 3; ++i) {
    std::string to;
    decoder->append(to, as_bytes(raw));
    ASSERT_EQ(to.size(), 20000u);
    ASSERT_EQ(to.substr(19998), "ä");
  }
}

TEST(NameDecoder, ShiftStateEndsWithTheName) {
  auto decoder = NameDecoder::open("ISO-2022-JP");
  ASSERT_TRUE(decoder.ok());
  std::string to;
  decoder->append(to, as_bytes("\x1b$B\x46\x7c"));  // never shifts back
  to += '|';
  decoder->append(to, as_bytes("F|"));
  EXPECT_EQ(to, "日|F|");
}

TEST(NameDecoder, UnknownCharsetIsAnError) {
  for (const std::string& charset : {std::string("NO-SUCH-CHARSET"), std::string("//"), std::string("ASCII\0X", 7)}) {
    const auto decoder = NameDecoder::open(charset);
    ASSERT_FALSE(decoder.ok()) << charset;
    EXPECT_EQ(decoder.error().code, ErrorCode::kUsage);
  }
}

TEST(NameDecoder, AnyBytesInAnyCharsetGiveWellFormedNames) {
  std::mt19937 random(2);
  for (const char* charset :
       {"CP437", "SHIFT_JIS", "GB18030", "BIG5-HKSCS", "EUC-KR", "UTF-16", "UTF-7", "ISO-2022-JP"}) {
    auto decoder = NameDecoder::open(charset);
    ASSERT_TRUE(decoder.ok()) << charset;
    for (int round = 0; round < 2000; ++round) {
      std::string raw(random() % 40, '\0');
      for (char& c : raw) c = static_cast<char>(random());
      std::string to;
      decoder->append(to, as_bytes(raw));
      ASSERT_EQ(field_text(as_bytes(to + "x")), to + "x") << charset;  // well-formed, no control characters
      ASSERT_EQ(to.find('/'), std::string::npos);
    }
  }
}

}  // namespace
}  // namespace lacuna
