// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/tag.h"

#include <gtest/gtest.h>

#include <random>
#include <set>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::for_each_length;
using test::from_hex;

// ECMA-167 3/7.2.6: the worked example of the standard (from memory).
TEST(Crc16, PublishedExample) { EXPECT_EQ(crc16(from_hex("70 6A 77")), 0x3299); }

// The same polynomial, order and start as CRC-16/XMODEM, whose check value over "123456789" is 31C3 (common practice).
TEST(Crc16, CheckValue) { EXPECT_EQ(crc16(as_bytes("123456789")), 0x31c3); }

TEST(Crc16, EmptyAndZeros) {
  EXPECT_EQ(crc16({}), 0);
  EXPECT_EQ(crc16(Buffer(4096)), 0);
}

/// Bit by bit, after the definition.
std::uint16_t slow_crc(Bytes b) {
  unsigned crc = 0;
  for (const std::uint8_t c : b) {
    crc ^= static_cast<unsigned>(c) << 8;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 0x8000) != 0 ? (crc << 1) ^ 0x1021 : crc << 1;
    crc &= 0xffff;
  }
  return static_cast<std::uint16_t>(crc);
}

TEST(Crc16, EveryLengthAndSplitAgreesWithTheDefinition) {
  std::mt19937 random(7);
  Buffer b(100);
  for (std::uint8_t& c : b) c = static_cast<std::uint8_t>(random());
  for_each_length(b, [](Bytes part) {
    EXPECT_EQ(crc16(part), slow_crc(part));
    const std::size_t half = part.size() / 3;
    EXPECT_EQ(crc16(part.subspan(half), crc16(part.first(half))), crc16(part));
  });
}

TEST(Tag, Decodes) {
  const auto t = decode_tag(test::sample_extended_file_entry());
  ASSERT_TRUE(t);
  EXPECT_EQ(t->identifier, tag_id::kExtendedFileEntry);
  EXPECT_EQ(t->version, 3);
  EXPECT_EQ(t->serial, 1);
  EXPECT_EQ(t->crc_length, 2032);
  EXPECT_EQ(t->location, 8u);
}

TEST(Tag, NothingInTooFewBytesZerosOrWithAWrongChecksum) {
  const Buffer good = test::sample_anchor();
  for_each_length(Buffer(good.begin(), good.begin() + 16),
                  [](Bytes b) { EXPECT_EQ(decode_tag(b).has_value(), b.size() == 16); });
  EXPECT_FALSE(decode_tag(Buffer(2048)));
  for (std::size_t at = 0; at < 16; ++at) {
    Buffer b = good;
    b[at] ^= 0x40;
    EXPECT_FALSE(decode_tag(b)) << at;
  }
}

TEST(Tag, ChecksumLeavesItselfOut) {
  // 3/7.2.3: bytes 0 to 3 and 5 to 15, modulo 256.
  EXPECT_EQ(tag_checksum(from_hex("01 02 03 04 FF 05 06 07 08 09 0A 0B 0C 0D 0E 0F")), 120);
  EXPECT_EQ(tag_checksum(Buffer(16, 0xff)), static_cast<std::uint8_t>(15 * 0xff));
}

TEST(Tag, CheckedFine) {
  const TagCheck c = check_tag(test::sample_anchor(), 256, 32);
  EXPECT_TRUE(c.fine());
  EXPECT_TRUE(c.proven());
  EXPECT_EQ(describe(c), "");
  EXPECT_TRUE(check_tag(test::sample_anchor(), {}).fine());
}

TagCheck check(const Buffer& b, std::size_t needed = 32) { return check_tag(b, 256, needed); }

TEST(Tag, EachProblem) {
  const Buffer good = test::sample_anchor();
  const auto expect = [](const TagCheck& c, std::uint32_t problems, const char* text, bool proven = false) {
    EXPECT_EQ(c.problems, problems);
    EXPECT_EQ(describe(c), text);
    EXPECT_EQ(c.proven(), proven);
  };

  Buffer b = good;
  b[20] ^= 1;
  expect(check(b), tag_problem::kCrc, "its CRC is wrong");

  b = good;
  b[4] ^= 1;
  expect(check(b), tag_problem::kChecksum, "the checksum of its tag is wrong");

  expect(check_tag(good, 300, 32), tag_problem::kLocation, "its location is 256 instead of 300");
  EXPECT_TRUE(check_tag(good, 300, 32).proven_elsewhere());

  b = good;
  b[2] = 4;
  b[5] = 9;
  test::seal(b);
  expect(check(b), tag_problem::kVersion | tag_problem::kReserved,
         "its version is 4, not 2 or 3 and the reserved byte of its tag is not zero", true);

  b = good;
  b[10] = b[11] = 0;
  test::seal(b);
  expect(check(b), tag_problem::kCrcNone, "it has no CRC");
  b[8] = 1;
  b[4] = tag_checksum(b);
  expect(check(b), tag_problem::kCrcNone | tag_problem::kCrc, "its CRC is wrong and it has no CRC");

  b = good;
  b[10] = 15;
  b[11] = 0;
  test::seal(b);
  expect(check(b), tag_problem::kCrcShort, "its CRC covers only 15 bytes");
  EXPECT_TRUE(check(b, 31).proven());

  expect(check_tag(Bytes(good).first(511), 256, 32), tag_problem::kCrcBeyond,
         "its CRC covers 496 bytes, more than there are");
  expect(check_tag(Bytes(good).first(31), 256, 32), tag_problem::kTooShort | tag_problem::kCrcBeyond,
         "it is cut short and its CRC covers 496 bytes, more than there are");
  expect(check_tag(Bytes(good).first(15), 256, 32), tag_problem::kTooShort, "it is cut short");
  expect(check_tag(Buffer(512), 256, 32), tag_problem::kBlank, "nothing is recorded there");
  expect(check_tag({}, {}, 0), tag_problem::kTooShort, "it is cut short");
}

TEST(Tag, WithAWrongChecksumNothingElseIsClaimed) {
  Buffer b = test::sample_anchor();
  b[2] = 200;
  b[12] = 9;
  b[100] = 1;
  const TagCheck c = check(b);
  EXPECT_TRUE((c.problems & tag_problem::kVersion) != 0 && (c.problems & tag_problem::kCrc) != 0);
  EXPECT_EQ(describe(c), "the checksum of its tag is wrong");
}

TEST(Tag, ListOfThreePhrases) {
  Buffer b = test::sample_anchor();
  b[5] = 1;
  test::seal(b);
  b[40] = 1;
  EXPECT_EQ(describe(check_tag(b, 255, 32)),
            "its CRC is wrong, its location is 256 instead of 255 and the reserved byte of its tag is not zero");
}

// 3/7.2.6: the CRC of zeros is 0 whatever their number, so an erased body passes when the tag's CRC is 0.
TEST(Tag, AZeroBodyHasTheCrcZero) {
  const TagCheck c = check_tag(test::sample_terminating(), 38);
  EXPECT_TRUE(c.fine());
  EXPECT_EQ(c.tag.crc, 0);
}

// The checksum and the CRC between them see every single bit that changes.
TEST(Tag, EveryFlippedBitIsSeen) {
  const Buffer good = test::sample_anchor();
  for (std::size_t bit = 0; bit < good.size() * 8; ++bit) {
    Buffer b = good;
    b[bit / 8] ^= static_cast<std::uint8_t>(1u << bit % 8);
    EXPECT_FALSE(check(b).proven()) << bit;
  }
}

TEST(Tag, NeedsBeyondAnyInputAreNotMet) {
  EXPECT_EQ(check_tag(test::sample_anchor(), 256, ~std::uint64_t{0}).problems,
            tag_problem::kTooShort | tag_problem::kCrcShort);
}

TEST(Tag, NamesAreDistinct) {
  std::set<std::string_view> names;
  for (unsigned id = 0; id <= 9; ++id) names.insert(tag_name(static_cast<std::uint16_t>(id)));
  for (unsigned id = 0x100; id <= 0x10a; ++id) names.insert(tag_name(static_cast<std::uint16_t>(id)));
  EXPECT_EQ(names.size(), 21u);
  EXPECT_EQ(names.count("unknown descriptor"), 0u);
  EXPECT_EQ(tag_name(10), "unknown descriptor");
  EXPECT_EQ(tag_name(0x10b), "unknown descriptor");
}

}  // namespace
}  // namespace lacuna::udf
