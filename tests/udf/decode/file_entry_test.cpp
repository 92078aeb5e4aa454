// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/file_entry.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::for_each_length;

TEST(FileEntry, Decodes) {
  const Buffer b = test::sample_file_entry();
  const auto e = decode_file_entry(b);
  ASSERT_TRUE(e);
  EXPECT_TRUE(check_tag(b, 7, e->bytes).fine());
  EXPECT_FALSE(e->is_extended);
  EXPECT_FALSE(e->is_directory());
  EXPECT_EQ(e->icb.form(), AllocationForm::kShort);
  EXPECT_EQ(e->uid, 1000u);
  EXPECT_EQ(e->gid, 100u);
  EXPECT_EQ(posix_mode(*e), 02644);
  EXPECT_EQ(e->link_count, 2);
  EXPECT_EQ(e->information_length, 5000u);
  EXPECT_EQ(e->object_size, 5000u);
  EXPECT_EQ(e->blocks_recorded, 3u);
  EXPECT_EQ(to_iso8601(e->accessed), test::kSampleTime);
  EXPECT_EQ(to_iso8601(e->modified), test::kSampleTime);
  EXPECT_EQ(to_iso8601(e->attributes_changed), test::kSampleTime);
  EXPECT_FALSE(e->created.known);
  EXPECT_EQ(e->checkpoint, 1u);
  EXPECT_EQ(e->attributes_icb.location.block, 50u);
  EXPECT_TRUE(e->streams_icb.none());
  EXPECT_EQ(e->implementation.identifier(), "*Some writer");
  EXPECT_EQ(e->unique_id, 17u);
  EXPECT_TRUE(e->extended_attributes.empty());
  EXPECT_EQ(e->allocation.size(), 16u);
  EXPECT_EQ(e->allocation_offset, 176u);
  EXPECT_EQ(e->bytes, 192u);
  EXPECT_EQ(e->problems, 0u);
}

TEST(FileEntry, ExtendedDecodes) {
  const Buffer b = test::sample_extended_file_entry();
  const auto e = decode_file_entry(b);
  ASSERT_TRUE(e);
  EXPECT_TRUE(check_tag(b, 8, e->bytes).fine());
  EXPECT_TRUE(e->is_extended);
  EXPECT_EQ(e->icb.form(), AllocationForm::kEmbedded);
  EXPECT_EQ(e->uid, FileEntry::kNoId);
  EXPECT_EQ(e->gid, FileEntry::kNoId);
  EXPECT_EQ(posix_mode(*e), 05777);
  EXPECT_EQ(e->information_length, 11u);
  EXPECT_EQ(e->object_size, 111u);
  EXPECT_EQ(to_iso8601(e->accessed), test::kSampleTime);
  EXPECT_EQ(to_iso8601(e->modified), test::kSampleTime);
  EXPECT_EQ(to_iso8601(e->created), test::kSampleTime);
  EXPECT_EQ(to_iso8601(e->attributes_changed), test::kSampleTime);
  EXPECT_EQ(e->checkpoint, 1u);
  EXPECT_EQ(e->streams_icb.location, (LbAddr{51, 1}));
  EXPECT_EQ(e->implementation.identifier(), "*Some writer");
  EXPECT_EQ(e->unique_id, 0x100000012u);
  EXPECT_EQ(e->extended_attributes.size(), test::sample_extended_attributes().size());
  EXPECT_EQ(as_text(e->allocation), "hello world");
  EXPECT_EQ(e->allocation_offset, 216 + e->extended_attributes.size());
  EXPECT_EQ(e->bytes, e->allocation_offset + 11);
  EXPECT_EQ(e->problems, 0u);
}

TEST(FileEntry, EachTimeIsReadFromItsPlace) {
  const auto year = [](Buffer b, std::size_t at) {
    b[at + 2] = 0xd5;  // 2005
    return decode_file_entry(b);
  };
  const Buffer fe = test::sample_file_entry(), efe = test::sample_extended_file_entry();
  const auto changed = [](const Timestamp& t) { return to_iso8601(t).starts_with("2005"); };
  EXPECT_TRUE(changed(year(fe, 72)->accessed));
  EXPECT_TRUE(changed(year(fe, 84)->modified));
  EXPECT_TRUE(changed(year(fe, 96)->attributes_changed));
  EXPECT_TRUE(changed(year(efe, 80)->accessed));
  EXPECT_TRUE(changed(year(efe, 92)->modified));
  EXPECT_TRUE(changed(year(efe, 104)->created));
  EXPECT_TRUE(changed(year(efe, 116)->attributes_changed));
}

TEST(FileEntry, Truncated) {
  for_each_length(test::sample_file_entry(), [](Bytes b) {
    const auto e = decode_file_entry(b);
    ASSERT_EQ(e.has_value(), b.size() >= 176);
    if (!e) return;
    EXPECT_EQ(e->allocation.size(), std::min<std::size_t>(b.size() - 176, 16));
    EXPECT_EQ(e->problems, b.size() < 192 ? entry_problem::kAllocationBeyond : 0u);
  });
  const std::size_t attributes = test::sample_extended_attributes().size();
  for_each_length(test::sample_extended_file_entry(), [&](Bytes b) {
    const auto e = decode_file_entry(b);
    ASSERT_EQ(e.has_value(), b.size() >= 216);
    if (!e) return;
    EXPECT_EQ(e->extended_attributes.size(), std::min(b.size() - 216, attributes));
    const std::uint32_t expected = b.size() < 216 + attributes        ? entry_problem::kAttributesBeyond
                                   : b.size() < 216 + attributes + 11 ? entry_problem::kAllocationBeyond
                                                                      : 0;
    EXPECT_EQ(e->problems, expected);
    EXPECT_LE(e->allocation_offset, b.size());
  });
}

TEST(FileEntry, AbsurdLengths) {
  Buffer b = test::sample_file_entry();
  std::fill_n(b.begin() + 168, 8, std::uint8_t{0xff});
  const auto e = decode_file_entry(b);
  EXPECT_EQ(e->bytes, 176 + 2 * std::uint64_t{0xffffffff});
  EXPECT_EQ(e->extended_attributes.size(), 2048u - 176);
  EXPECT_TRUE(e->allocation.empty());
  EXPECT_EQ(e->problems, entry_problem::kAttributesBeyond | entry_problem::kAttributesLength);
  EXPECT_FALSE(check_tag(b, 7, e->bytes).proven());
}

TEST(FileEntry, Problems) {
  const auto with = [](Buffer b, std::size_t at, std::uint8_t value) {
    b[at] = value;
    return decode_file_entry(b)->problems;
  };
  const Buffer fe = test::sample_file_entry(), efe = test::sample_extended_file_entry();
  EXPECT_EQ(with(fe, 88, 13), entry_problem::kTime);
  EXPECT_EQ(with(fe, 20, 1), entry_problem::kIcb);
  EXPECT_EQ(with(fe, 168, 2), entry_problem::kAttributesLength);
  EXPECT_EQ(with(fe, 63, 0x80), entry_problem::kInformationLength);
  EXPECT_EQ(with(efe, 56, 12), entry_problem::kEmbeddedLength);
  EXPECT_EQ(with(efe, 64, 10), entry_problem::kObjectSize);
}

TEST(FileEntry, OtherIdentifiers) {
  EXPECT_FALSE(decode_file_entry(test::sample_indirect_entry()));
  EXPECT_FALSE(decode_file_entry(Buffer(2048)));
}

TEST(FileEntry, Directories) {
  Buffer b = test::sample_file_entry();
  for (unsigned type = 0; type < 256; ++type) {
    b[27] = static_cast<std::uint8_t>(type);
    EXPECT_EQ(decode_file_entry(b)->is_directory(), type == 4 || type == 13);
  }
}

// ECMA-167 4/14.9.5: bit 0 others execute, 1 write, 2 read, 3 change attributes, 4 delete; then group, then owner.
TEST(FileEntry, PosixMode) {
  const std::pair<std::uint32_t, unsigned> cases[] = {
      {1, 01},       {2, 02},       {4, 04},        {8, 0},          {16, 0},         {1 << 5, 010},
      {2 << 5, 020}, {4 << 5, 040}, {8 << 5, 0},    {1 << 10, 0100}, {2 << 10, 0200}, {4 << 10, 0400},
      {16 << 10, 0}, {0, 0},        {0x14a5, 0555}, {0x7fff, 0777},  {0xffff8000, 0}};
  for (const auto& [permissions, mode] : cases) {
    FileEntry e;
    e.permissions = permissions;
    EXPECT_EQ(posix_mode(e), mode) << permissions;
  }
  FileEntry e;
  e.icb.flags = icb_flag::kSetUid;
  EXPECT_EQ(posix_mode(e), 04000);
  e.icb.flags = icb_flag::kSetGid;
  EXPECT_EQ(posix_mode(e), 02000);
  e.icb.flags = icb_flag::kSticky;
  EXPECT_EQ(posix_mode(e), 01000);
}

}  // namespace
}  // namespace lacuna::udf
