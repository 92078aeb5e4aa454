// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/allocation.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::for_each_length;
using test::Layout;
using AllocationStop = AllocationReader::Stop;

std::vector<Allocation> read(Bytes area, AllocationForm form, AllocationStop expected) {
  AllocationReader reader(area, form);
  std::vector<Allocation> all;
  while (const auto a = reader.next()) all.push_back(*a);
  EXPECT_EQ(reader.stop(), expected);
  EXPECT_FALSE(reader.next());
  return all;
}

TEST(Allocation, Short) {
  const Buffer b =
      Layout(24).short_ad(0, 2048, 20).short_ad(8, 4096 | 1u << 30, 30).short_ad(16, 1 | 2u << 30, 0).bytes();
  const auto all = read(b, AllocationForm::kShort, AllocationStop::kEnd);
  ASSERT_EQ(all.size(), 3u);
  EXPECT_EQ(all[0].type, ExtentType::kRecorded);
  EXPECT_EQ(all[0].length_bytes, 2048u);
  EXPECT_EQ(all[0].recorded_bytes, 2048u);
  EXPECT_EQ(all[0].information_bytes, 2048u);
  EXPECT_EQ(all[0].block, 20u);
  EXPECT_FALSE(all[0].partition);
  EXPECT_EQ(all[1].type, ExtentType::kUnrecorded);
  EXPECT_EQ(all[1].length_bytes, 4096u);
  EXPECT_EQ(all[1].offset, 8u);
  EXPECT_EQ(all[2].type, ExtentType::kUnallocated);
  EXPECT_EQ(all[2].length_bytes, 1u);
}

TEST(Allocation, Long) {
  const Buffer b = Layout(32).long_ad(0, kMaxExtentBytes, 20, 2).long_ad(16, 4096, 30, 1).u16(26, 1).bytes();
  const auto all = read(b, AllocationForm::kLong, AllocationStop::kEnd);
  ASSERT_EQ(all.size(), 2u);
  EXPECT_EQ(all[0].length_bytes, kMaxExtentBytes);
  EXPECT_EQ(all[0].partition, 2);
  EXPECT_FALSE(all[0].erased);
  EXPECT_EQ(all[1].partition, 1);
  EXPECT_TRUE(all[1].erased);
  EXPECT_EQ(all[1].offset, 16u);
}

TEST(Allocation, Extended) {
  const Buffer b = Layout(20).u32(0, 4096).u32(4, 2048).u32(8, 9000).u32(12, 40).u16(16, 3).bytes();
  const auto all = read(b, AllocationForm::kExtended, AllocationStop::kEnd);
  ASSERT_EQ(all.size(), 1u);
  EXPECT_EQ(all[0].length_bytes, 4096u);
  EXPECT_EQ(all[0].recorded_bytes, 2048u);
  EXPECT_EQ(all[0].information_bytes, 9000u);
  EXPECT_EQ(all[0].block, 40u);
  EXPECT_EQ(all[0].partition, 3);
}

// 4/12: whatever its type, an extent of no bytes is the end.
TEST(Allocation, LengthZeroEnds) {
  for (const std::uint32_t type : {0u, 1u, 2u, 3u}) {
    const Buffer b = Layout(24).short_ad(0, 2048, 20).short_ad(8, type << 30, 30).short_ad(16, 2048, 40).bytes();
    AllocationReader reader(b, AllocationForm::kShort);
    EXPECT_TRUE(reader.next());
    EXPECT_FALSE(reader.next());
    EXPECT_EQ(reader.stop(), AllocationStop::kLengthZero);
    EXPECT_EQ(reader.offset(), 8u);
  }
}

TEST(Allocation, ContinuationIsGivenAndEnds) {
  const Buffer b = Layout(24).short_ad(0, 2048, 20).short_ad(8, 2048 | 3u << 30, 30).short_ad(16, 2048, 40).bytes();
  const auto all = read(b, AllocationForm::kShort, AllocationStop::kContinued);
  ASSERT_EQ(all.size(), 2u);
  EXPECT_EQ(all[1].type, ExtentType::kContinued);
  EXPECT_EQ(all[1].block, 30u);
}

TEST(Allocation, Truncated) {
  const Buffer whole =
      Layout(80).u32(0, 1).u32(8, 1).u32(16, 1).u32(20, 1).u32(32, 1).u32(40, 1).u32(48, 1).u32(64, 1).bytes();
  for (const AllocationForm form : {AllocationForm::kLong, AllocationForm::kExtended}) {
    const std::size_t each = form == AllocationForm::kLong ? 16 : 20;
    EXPECT_EQ(descriptor_bytes(form), each);
    for (std::size_t size = 0; size <= 2 * each; ++size) {
      const auto all =
          read(Bytes(whole).first(size), form, size % each == 0 ? AllocationStop::kEnd : AllocationStop::kPartial);
      EXPECT_EQ(all.size(), size / each);
    }
  }
  EXPECT_EQ(descriptor_bytes(AllocationForm::kShort), 8u);
}

TEST(Allocation, OtherForms) {
  const Buffer b = Layout(16).short_ad(0, 2048, 20).bytes();
  for (unsigned form = 3; form < 8; ++form) {
    EXPECT_TRUE(read(b, static_cast<AllocationForm>(form), AllocationStop::kBadForm).empty());
    EXPECT_EQ(descriptor_bytes(static_cast<AllocationForm>(form)), 0u);
  }
}

TEST(AllocationExtent, Decodes) {
  const Buffer b = test::sample_allocation_extent();
  const auto e = decode_allocation_extent(b);
  ASSERT_TRUE(e);
  EXPECT_TRUE(check_tag(b, 12, e->bytes).fine());
  EXPECT_EQ(e->previous_block, 3u);
  EXPECT_EQ(e->bytes, 56u);
  EXPECT_FALSE(e->cut);
  EXPECT_EQ(read(e->allocation, AllocationForm::kLong, AllocationStop::kContinued).size(), 2u);
  for_each_length(b, [](Bytes part) {
    const auto cut = decode_allocation_extent(part);
    ASSERT_EQ(cut.has_value(), part.size() >= 24);
    if (cut) {
      EXPECT_EQ(cut->allocation.size(), std::min<std::size_t>(part.size() - 24, 32));
      EXPECT_EQ(cut->cut, part.size() < 56);
    }
  });
  Buffer absurd = b;
  std::fill_n(absurd.begin() + 20, 4, std::uint8_t{0xff});
  EXPECT_EQ(decode_allocation_extent(absurd)->bytes, 24 + std::uint64_t{0xffffffff});
  EXPECT_FALSE(decode_allocation_extent(test::sample_file_entry()));
}

// UDF 2.3.11 (from memory): a CRC over 8 bytes is allowed, and leaves the descriptors unproven.
TEST(AllocationExtent, ShortCrcProvesNoDescriptor) {
  const Buffer b = Layout(2048).put(0, test::sample_allocation_extent()).tagged(0x102, 12, 8);
  const auto e = decode_allocation_extent(b);
  EXPECT_TRUE(check_tag(b, 12, kAllocationExtentFixedBytes).proven());
  EXPECT_EQ(check_tag(b, 12, e->bytes).problems, tag_problem::kCrcShort);
}

}  // namespace
}  // namespace lacuna::udf
