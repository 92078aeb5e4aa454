// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/directory_record.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::iso9660 {
namespace {

using test::both16_bytes;
using test::both32_bytes;
using test::Buffer;
using test::for_each_length;
using test::from_hex;
using test::operator+;
using test::from_text;

/// A record after ECMA-119 9.1, LEN_DR and the pad byte made to fit.
Buffer record(const Buffer& identifier, std::uint8_t flags = 0, const Buffer& system_use = {}) {
  Buffer b = Buffer{0, 0} + both32_bytes(0x12345) + both32_bytes(0xabcde) + from_hex("68 05 06 07 08 09 00") +
             Buffer{flags, 0, 0} + both16_bytes(1) + Buffer{static_cast<std::uint8_t>(identifier.size())} + identifier;
  if (identifier.size() % 2 == 0) b.push_back(0);
  b = b + system_use;
  b[0] = static_cast<std::uint8_t>(b.size());
  return b;
}

std::uint32_t record_problems(const Buffer& b) {
  const auto r = decode_directory_record(b);
  EXPECT_TRUE(r.has_value());
  return r ? r->problems : ~0u;
}

// ECMA-119 9.1, laid out by hand. One that is 46 bytes long: 33 + 12 + pad.
TEST(DirectoryRecord, KnownGood) {
  const Buffer b = from_hex(
      "2e 02 1a 00 00 00 00 00 00 1a 39 30 00 00 00 00 30 39 6c 0a 0b 0c 0d 0e 04 01 03 02 01 00 00 01"
      "0c 52 45 41 44 4d 45 2e 54 58 54 3b 31 00");
  ASSERT_EQ(b.size(), 46u);
  const auto r = decode_directory_record(b);
  ASSERT_TRUE(r);
  EXPECT_EQ(r->length, 46);
  EXPECT_EQ(r->ear_length, 2);
  EXPECT_EQ(r->extent.value(), 26u);
  EXPECT_EQ(r->data_length.value(), 12345u);
  EXPECT_TRUE(r->date_valid);
  EXPECT_EQ(to_iso8601(r->recorded), "2008-10-11T12:13:14+01:00");
  EXPECT_EQ(r->flags, file_flag::kHidden);
  EXPECT_FALSE(r->is_directory());
  EXPECT_EQ(r->unit_size, 3);
  EXPECT_EQ(r->gap_size, 2);
  EXPECT_EQ(r->sequence.value(), 1);
  EXPECT_EQ(as_text(r->identifier), "README.TXT;1");
  EXPECT_TRUE(r->system_use.empty());
  EXPECT_EQ(r->problems, 0u);
  EXPECT_TRUE(r->plausible());
}

TEST(DirectoryRecord, SelfAndParent) {
  const Buffer self = record({0}, file_flag::kDirectory), parent = record({1}, file_flag::kDirectory);
  EXPECT_EQ(self.size(), 34u);
  EXPECT_TRUE(decode_directory_record(self)->is_self());
  EXPECT_FALSE(decode_directory_record(self)->is_parent());
  EXPECT_TRUE(decode_directory_record(parent)->is_parent());
  EXPECT_EQ(record_problems(self), 0u);
  EXPECT_EQ(record_problems(record({0})), record_problem::kSelfOrParentFile);
  EXPECT_EQ(record_problems(record({1})), record_problem::kSelfOrParentFile);
  const Buffer longer = record({0, 0});
  EXPECT_FALSE(decode_directory_record(longer)->is_self());
}

TEST(DirectoryRecord, SystemUse) {
  for (const char* id : {"A", "AB"}) {
    const Buffer b = record(from_text(id), 0, from_text("SU"));
    const auto r = decode_directory_record(b);
    ASSERT_TRUE(r);
    EXPECT_EQ(as_text(r->identifier), id);
    EXPECT_EQ(as_text(r->system_use), "SU");
    EXPECT_EQ(r->problems, 0u);
  }
}

TEST(DirectoryRecord, WhatFollowsInTheSectorIsNotTouched) {
  const Buffer b = record(from_text("A"), 0, from_text("SU")) + Buffer(100, 0xee);
  const auto r = decode_directory_record(b);
  ASSERT_TRUE(r);
  EXPECT_EQ(as_text(r->system_use), "SU");
}

TEST(DirectoryRecord, MaximalLengths) {
  // 9.1.1: one byte; 254 is the greatest even value, 255 still decodes.
  const Buffer most = record(Buffer(221, 'A'));
  ASSERT_EQ(most.size(), 254u);
  EXPECT_EQ(decode_directory_record(most)->identifier.size(), 221u);
  EXPECT_EQ(record_problems(most), 0u);
  Buffer odd = record(Buffer(221, 'A'), 0, {7});
  ASSERT_EQ(odd.size(), 255u);
  EXPECT_EQ(record_problems(odd), record_problem::kOddLength);
  odd[32] = 222;  // as an even identifier without room for its pad byte
  EXPECT_EQ(record_problems(odd), record_problem::kOddLength | record_problem::kPadding);
}

TEST(DirectoryRecord, Truncated) {
  const Buffer b = record(from_text("AB.C;1"), 0, from_text("XY"));
  for_each_length(b, [&](Bytes cut) { EXPECT_EQ(decode_directory_record(cut).has_value(), cut.size() == b.size()); });
}

// The length byte made smaller instead of the memory: decodes as long as the identifier fits.
TEST(DirectoryRecord, EveryLength) {
  Buffer b = record(from_text("AB.C;1"), 0, from_text("XY"));
  const std::size_t identifier_end = 33 + 6;
  for (unsigned length = 0; length <= 255; ++length) {
    b[0] = static_cast<std::uint8_t>(length);
    const auto r = decode_directory_record(b);
    ASSERT_EQ(r.has_value(), length >= identifier_end && length <= b.size()) << length;
    if (r) {
      EXPECT_LE(r->system_use.size(), 2u);
    }
  }
}

TEST(DirectoryRecord, IdentifierOverrunsCannotBeDecoded) {
  Buffer b = record(from_text("A"));
  for (unsigned length = 2; length <= 255; ++length) {
    b[32] = static_cast<std::uint8_t>(length);
    EXPECT_FALSE(decode_directory_record(b)) << length;
  }
}

TEST(DirectoryRecord, DisagreeingHalvesAreKept) {
  Buffer b = record(from_text("A"));
  b[9] ^= 1;
  EXPECT_EQ(record_problems(b), record_problem::kExtentHalves);
  EXPECT_EQ(decode_directory_record(b)->extent.little, 0x12345u);
  EXPECT_EQ(decode_directory_record(b)->extent.big, 0x12344u);
  EXPECT_FALSE(decode_directory_record(b)->plausible());
  b = record(from_text("A"));
  b[10] ^= 1;
  EXPECT_EQ(record_problems(b), record_problem::kDataLengthHalves);
  EXPECT_EQ(decode_directory_record(b)->data_length.little, 0xabcdfu);
  EXPECT_EQ(decode_directory_record(b)->data_length.big, 0xabcdeu);
  b = record(from_text("A"));
  b[28] ^= 1;
  EXPECT_EQ(record_problems(b), record_problem::kSequenceHalves);
  EXPECT_TRUE(decode_directory_record(b)->plausible());
}

TEST(DirectoryRecord, OtherViolations) {
  Buffer b = record(from_text("A"));
  b[19] = 13;
  EXPECT_EQ(record_problems(b), record_problem::kDate);
  EXPECT_FALSE(decode_directory_record(b)->date_valid);
  EXPECT_FALSE(decode_directory_record(b)->recorded.known);

  b = record(from_text("A"));
  std::fill(b.begin() + 18, b.begin() + 25, std::uint8_t{0});
  EXPECT_EQ(record_problems(b), 0u);
  EXPECT_TRUE(decode_directory_record(b)->date_valid);
  EXPECT_FALSE(decode_directory_record(b)->recorded.known);

  EXPECT_EQ(record_problems(record(from_text("A"), 0x20)), record_problem::kReservedFlags);
  EXPECT_EQ(record_problems(record(from_text("A"), 0x40)), record_problem::kReservedFlags);
  EXPECT_EQ(record_problems(record(from_text("A"), 0x9d)), 0u);
  for (const int flag : {0x04, 0x08, 0x80}) {
    EXPECT_EQ(record_problems(record(from_text("A"), static_cast<std::uint8_t>(flag | 2))),
              record_problem::kDirectoryFlags);
  }

  b = record(from_text("AB"));
  b[35] = 7;
  EXPECT_EQ(record_problems(b), record_problem::kPadding);

  b = record(from_text("A"));
  b[26] = 1;
  EXPECT_EQ(record_problems(b), record_problem::kInterleave);
  b[27] = 1;
  EXPECT_EQ(record_problems(b), 0u);
  b[26] = 0;
  EXPECT_EQ(record_problems(b), record_problem::kInterleave);

  EXPECT_EQ(record_problems(record({})), record_problem::kEmptyIdentifier);
}

// Two halves that agree by chance: 2^-64 for the extent and the length alone.
TEST(DirectoryRecord, FileDataIsNotPlausible) {
  std::mt19937 random(1);
  Buffer b(256);
  int decoded = 0;
  for (int round = 0; round < 100000; ++round) {
    std::ranges::generate(b, [&] { return static_cast<std::uint8_t>(random()); });
    const auto r = decode_directory_record(b);
    if (!r) continue;
    ++decoded;
    ASSERT_FALSE(r->plausible()) << round;
  }
  EXPECT_GT(decoded, 10000);
  EXPECT_FALSE(decode_directory_record(Buffer(2048)));
}

TEST(RootRecord, KnownGood) {
  const Buffer b = record({0}, file_flag::kDirectory);
  const auto r = decode_root_record(b);
  ASSERT_TRUE(r);
  EXPECT_EQ(r->extent.value(), 0x12345u);
  EXPECT_TRUE(r->is_self());
  EXPECT_TRUE(r->is_directory());
  EXPECT_EQ(r->problems, 0u);
}

TEST(RootRecord, LongerOnesAreTaken) {
  Buffer b = record({0}, file_flag::kDirectory);
  for (const int length : {0, 1, 33, 36, 255}) {
    b[0] = static_cast<std::uint8_t>(length);
    const auto r = decode_root_record(b);
    ASSERT_TRUE(r) << length;
    EXPECT_EQ(r->problems, record_problem::kRootLength);
    EXPECT_EQ(r->extent.value(), 0x12345u);
  }
}

TEST(RootRecord, Truncated) {
  for_each_length(record({0}, file_flag::kDirectory),
                  [](Bytes b) { EXPECT_EQ(decode_root_record(b).has_value(), b.size() == 34); });
}

TEST(RootRecord, LyingIdentifierLength) {
  Buffer b = record({0}, file_flag::kDirectory);
  b[32] = 255;
  EXPECT_EQ(decode_root_record(b)->identifier.size(), 1u);
  b[32] = 0;
  EXPECT_EQ(decode_root_record(b)->problems, record_problem::kEmptyIdentifier);
}

}  // namespace
}  // namespace lacuna::iso9660
