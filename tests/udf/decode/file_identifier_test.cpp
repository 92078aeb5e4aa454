// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/file_identifier.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/cs0.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::for_each_length;
using test::operator+;
using FidStop = FidReader::Stop;

std::string name_of(const FileIdentifier& f) {
  std::string name;
  append_cs0_name(name, f.name);
  return name;
}

/// Names of all, each proven where it stands.
std::vector<std::string> read(Bytes content, FidStop expected) {
  FidReader reader(content);
  std::vector<std::string> names;
  while (const auto f = reader.next()) {
    EXPECT_TRUE(check_tag(f->raw, 13, f->bytes).fine());
    names.push_back(name_of(*f));
  }
  EXPECT_EQ(reader.stop(), expected);
  EXPECT_FALSE(reader.next());
  return names;
}

TEST(FileIdentifier, Decodes) {
  const Buffer b = test::fid("\x08notes.txt", 0x01, 7, 13);
  const auto f = decode_fid(b);
  ASSERT_TRUE(f);
  EXPECT_TRUE(check_tag(f->raw, 13, f->bytes).fine());
  EXPECT_EQ(f->version, 1);
  EXPECT_TRUE(f->is_hidden());
  EXPECT_FALSE(f->is_directory() || f->is_deleted() || f->is_parent());
  EXPECT_EQ(f->icb.location, (LbAddr{7, 1}));
  EXPECT_EQ(f->icb.unique_id, 1007u);
  EXPECT_EQ(name_of(*f), "notes.txt");
  EXPECT_EQ(f->bytes, 48u);
  EXPECT_EQ(f->length(), 48u);
  EXPECT_TRUE(f->implementation_use.empty());
  EXPECT_EQ(f->problems, 0u);
}

TEST(FileIdentifier, ParentDirectoryDeletedAndUse) {
  const Buffer b = test::sample_directory();
  FidReader reader(b);
  const auto parent = reader.next();
  EXPECT_TRUE(parent->is_parent() && parent->is_directory());
  EXPECT_TRUE(parent->name.empty());
  EXPECT_EQ(parent->length(), 40u);
  EXPECT_EQ(parent->bytes, 38u);
  reader.next();
  const auto directory = reader.next();
  EXPECT_TRUE(directory->is_directory());
  EXPECT_EQ(name_of(*directory), "\u00e4\u3042");
  EXPECT_EQ(directory->implementation_use.size(), 32u);
  EXPECT_EQ(as_text(directory->implementation_use.subspan(1, 12)), "*Some writer");
  const auto deleted = reader.next();
  EXPECT_TRUE(deleted->is_deleted());
  EXPECT_EQ(cs0_form(deleted->name), Cs0Form::kDeleted8);
  EXPECT_EQ(name_of(*deleted), "gone");
  for (const auto* f : {&*parent, &*directory, &*deleted}) EXPECT_EQ(f->problems, 0u);
}

TEST(FileIdentifier, Truncated) {
  const Buffer b = test::fid("\x08notes", 0, 7, 13);  // 44 bytes
  for_each_length(b, [](Bytes part) { EXPECT_EQ(decode_fid(part).has_value(), part.size() >= 44); });
  const Buffer padded = test::fid("\x08note", 0, 7, 13);  // 43 bytes and one of padding
  for_each_length(padded, [](Bytes part) {
    const auto f = decode_fid(part);
    ASSERT_EQ(f.has_value(), part.size() >= 43);
    if (f) {
      EXPECT_EQ(f->raw.size(), part.size());
      EXPECT_EQ(f->problems, part.size() < 44 ? fid_problem::kPadding : 0u);
    }
  });
}

TEST(FileIdentifier, Problems) {
  const auto with = [](std::size_t at, std::uint8_t value, const Buffer& good = test::fid("\x08note", 0, 7, 13)) {
    Buffer b = good;
    b[at] = value;
    return decode_fid(b)->problems;
  };
  EXPECT_EQ(with(0, 1), 0u);
  EXPECT_EQ(with(16, 2), fid_problem::kVersion);
  EXPECT_EQ(with(18, 0x0a), fid_problem::kParentNamed);
  EXPECT_EQ(with(18, 0x20), fid_problem::kReservedFlags);
  EXPECT_EQ(with(43, 1), fid_problem::kPadding);
  EXPECT_EQ(with(38, 0), fid_problem::kCompression);
  EXPECT_EQ(with(18, 0x00, test::fid("", 0x0a, 7, 13)), fid_problem::kNoName);
  EXPECT_EQ(with(18, 0x08, test::fid("", 0x0a, 7, 13)), fid_problem::kParentNamed);
  EXPECT_EQ(decode_fid(test::fid("\x08note", 0, 7, 13, 33))->problems, fid_problem::kImplementationUse);
}

TEST(FileIdentifier, LongestName) {
  const Buffer b = test::fid("\x08" + std::string(254, 'n'), 0, 7, 13, 65532);
  const auto f = decode_fid(b);
  ASSERT_TRUE(f);
  EXPECT_EQ(f->name.size(), 255u);
  EXPECT_EQ(f->implementation_use.size(), 65532u);
}

TEST(FidReader, Walks) {
  EXPECT_EQ(read(test::sample_directory(), FidStop::kEnd),
            (std::vector<std::string>{"", "notes.txt", "\u00e4\u3042", "gone"}));
  EXPECT_TRUE(read({}, FidStop::kEnd).empty());
}

TEST(FidReader, Stops) {
  const Buffer b = test::sample_directory();
  EXPECT_EQ(read(b + Buffer(2048), FidStop::kZeros).size(), 4u);
  EXPECT_EQ(read(b + Buffer(3), FidStop::kZeros).size(), 4u);
  EXPECT_EQ(read(b + Buffer(20) + Buffer{1}, FidStop::kNotFid).size(), 4u);
  EXPECT_EQ(read(b + Buffer(2, 'x'), FidStop::kNotFid).size(), 4u);
  EXPECT_EQ(read(Bytes(b).first(b.size() - 4), FidStop::kTruncated).size(), 3u);
  for_each_length(b, [](Bytes part) {
    FidReader reader(part);
    while (reader.next()) {
    }
    EXPECT_LE(reader.offset(), part.size());
    if (reader.stop() == FidStop::kEnd) {
      EXPECT_EQ(reader.offset(), part.size());
    }
  });
}

TEST(FidReader, Resumes) {
  const Buffer b = test::sample_directory();
  FidReader reader(b);
  while (reader.next()) {
  }
  reader.resume_at(40);
  EXPECT_EQ(reader.stop(), FidStop::kNone);
  EXPECT_EQ(name_of(*reader.next()), "notes.txt");
  reader.resume_at(b.size() + 100);
  EXPECT_FALSE(reader.next());
  EXPECT_EQ(reader.stop(), FidStop::kEnd);
}

TEST(FindNextFid, GoesOnBehindDamage) {
  const Buffer good = test::sample_directory();
  EXPECT_EQ(find_next_fid(good, 0), 0u);
  EXPECT_EQ(find_next_fid(good, 1), 40u);
  EXPECT_EQ(find_next_fid(good, 40), 40u);
  EXPECT_EQ(find_next_fid(good, 41), 88u);
  Buffer b = good;
  std::fill_n(b.begin() + 30, 30, std::uint8_t{0});  // the end of the first, the start of the second
  EXPECT_EQ(find_next_fid(b, 0), 88u);
  b = good;
  b[60] ^= 1;  // the second's CRC
  EXPECT_EQ(find_next_fid(b, 4), 88u);
  b = good;
  b[44] ^= 1;  // the second's checksum
  EXPECT_EQ(find_next_fid(b, 4), 88u);
}

TEST(FindNextFid, NothingMore) {
  const Buffer b = test::sample_directory();
  EXPECT_FALSE(find_next_fid(b, b.size() - 40));
  EXPECT_FALSE(find_next_fid(b, b.size()));
  EXPECT_FALSE(find_next_fid(b, b.size() + 1));
  EXPECT_FALSE(find_next_fid(b, ~std::size_t{0}));
  EXPECT_FALSE(find_next_fid({}, 0));
  EXPECT_FALSE(find_next_fid(Buffer(4096), 0));
  const Buffer one = test::fid("\x08note", 0, 7, 13);
  EXPECT_FALSE(find_next_fid(Bytes(one).first(42), 0));  // its name is not all there
}

// What the standard allows and no disc has: passed over, so that the work stays in proportion to the content.
TEST(FindNextFid, NotTheAbsurdlyLong) {
  const Buffer tail = test::fid("\x08note", 0, 7, 13);
  const Buffer longest = test::fid("\x08note", 0, 7, 13, kMaxFidBytes - 44);
  EXPECT_EQ(find_next_fid(longest + tail, 0), 0u);
  const Buffer longer = test::fid("\x08note", 0, 7, 13, kMaxFidBytes - 40);
  EXPECT_EQ(find_next_fid(longer + tail, 0), longer.size());
}

TEST(FindNextFid, AnUnprovenCrcIsNotEnough) {
  const Buffer part = test::Layout(44).put(0, test::fid("\x08note", 0, 7, 13)).tagged(0x101, 13, 20);
  EXPECT_FALSE(find_next_fid(part, 0));
}

}  // namespace
}  // namespace lacuna::udf
