// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/icb.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::for_each_length;
using test::from_hex;

TEST(IcbTag, Decodes) {
  const Buffer b = from_hex("05 00 00 00 00 10 01 00 02 00 00 05 44 33 22 11 07 00 C3 05");
  const IcbTag t = decode_icb_tag(b);
  EXPECT_EQ(t.prior_direct_entries, 5u);
  EXPECT_EQ(t.strategy, 4096);
  EXPECT_EQ(t.strategy_parameter, 1);
  EXPECT_EQ(t.max_entries, 2);
  EXPECT_EQ(t.file_type, file_type::kFile);
  EXPECT_EQ(t.parent, (LbAddr{0x11223344, 7}));
  EXPECT_EQ(t.form(), AllocationForm::kEmbedded);
  EXPECT_TRUE(t.has(icb_flag::kSetUid));
  EXPECT_TRUE(t.has(icb_flag::kSetGid));
  EXPECT_TRUE(t.has(icb_flag::kSticky));
  EXPECT_TRUE(t.has(icb_flag::kSystem));
  EXPECT_FALSE(t.has(icb_flag::kStream));
  EXPECT_EQ(t.problems, 0u);
}

TEST(IcbTag, Problems) {
  const auto with = [](std::size_t at, std::uint8_t value) {
    Buffer b(20);
    b[4] = 4;
    b[at] = value;
    return decode_icb_tag(b).problems;
  };
  EXPECT_EQ(with(0, 0), 0u);
  EXPECT_EQ(with(4, 5), icb_problem::kStrategy);
  EXPECT_EQ(with(10, 1), icb_problem::kReserved);
  EXPECT_EQ(with(19, 0x40), icb_problem::kReserved);
  EXPECT_EQ(with(18, 3), 0u);
  EXPECT_EQ(with(18, 4), icb_problem::kAllocationForm);
  EXPECT_EQ(with(18, 7), icb_problem::kAllocationForm);
}

TEST(IcbTag, OfAnyEntry) {
  EXPECT_EQ(decode_entry_icb_tag(test::sample_file_entry())->file_type, file_type::kFile);
  EXPECT_EQ(decode_entry_icb_tag(test::sample_extended_file_entry())->form(), AllocationForm::kEmbedded);
  EXPECT_EQ(decode_entry_icb_tag(test::sample_indirect_entry())->file_type, file_type::kIndirect);
  EXPECT_EQ(decode_entry_icb_tag(test::sample_terminal_entry())->file_type, file_type::kTerminal);
  EXPECT_EQ(decode_entry_icb_tag(test::sample_unallocated_space_entry())->file_type, file_type::kUnallocatedSpace);
  EXPECT_FALSE(decode_entry_icb_tag(test::sample_space_bitmap()));
  EXPECT_FALSE(decode_entry_icb_tag(test::sample_file_set()));
  for_each_length(test::sample_file_entry(),
                  [](Bytes b) { EXPECT_EQ(decode_entry_icb_tag(b).has_value(), b.size() >= 36); });
}

TEST(IndirectEntry, Decodes) {
  const Buffer b = test::sample_indirect_entry();
  const auto e = decode_indirect_entry(b);
  ASSERT_TRUE(e);
  EXPECT_TRUE(check_tag(b, 5, e->bytes).fine());
  EXPECT_EQ(e->icb.strategy, 4096);
  EXPECT_EQ(e->next.length_bytes, 4096u);
  EXPECT_EQ(e->next.location.block, 9u);
  EXPECT_EQ(e->bytes, 52u);
  for_each_length(b, [](Bytes part) { EXPECT_EQ(decode_indirect_entry(part).has_value(), part.size() >= 52); });
  EXPECT_FALSE(decode_indirect_entry(test::sample_terminal_entry()));
}

TEST(TerminalEntry, Decodes) {
  const Buffer b = test::sample_terminal_entry();
  const auto e = decode_terminal_entry(b);
  ASSERT_TRUE(e);
  EXPECT_TRUE(check_tag(b, 6, e->bytes).fine());
  EXPECT_EQ(e->icb.file_type, file_type::kTerminal);
  for_each_length(b, [](Bytes part) { EXPECT_EQ(decode_terminal_entry(part).has_value(), part.size() >= 36); });
  EXPECT_FALSE(decode_terminal_entry(test::sample_indirect_entry()));
}

}  // namespace
}  // namespace lacuna::udf
