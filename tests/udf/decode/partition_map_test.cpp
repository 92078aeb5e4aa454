// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/partition_map.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/samples.h"
#include "udf/decode/volume.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::from_hex;
using PartitionMapStop = PartitionMapReader::Stop;

Buffer sample_maps() {
  const Buffer b = test::sample_logical_volume();
  return {b.begin() + 440, b.begin() + 638};
}

std::vector<PartitionMap> read(Bytes maps, std::uint32_t count, PartitionMapStop expected) {
  PartitionMapReader reader(maps, count);
  std::vector<PartitionMap> all;
  while (const auto m = reader.next()) all.push_back(*m);
  EXPECT_EQ(reader.stop(), expected);
  EXPECT_FALSE(reader.next());
  return all;
}

TEST(PartitionMap, AllKinds) {
  const Buffer b = sample_maps();
  const auto all = read(b, 4, PartitionMapStop::kEnd);
  ASSERT_EQ(all.size(), 4u);
  const PartitionMapKind kinds[] = {PartitionMapKind::kPhysical, PartitionMapKind::kVirtual,
                                    PartitionMapKind::kSparable, PartitionMapKind::kMetadata};
  for (std::size_t i = 0; i < 4; ++i) {
    EXPECT_EQ(all[i].kind, kinds[i]);
    EXPECT_EQ(all[i].reference, i);
    EXPECT_EQ(all[i].volume_number, 1);
    EXPECT_EQ(all[i].partition_number, 3);
    EXPECT_EQ(all[i].problems, 0u);
    EXPECT_EQ(all[i].raw.size(), i == 0 ? 6u : 64u);
    if (i != 0) {
      EXPECT_EQ(all[i].identifier.revision(), 0x0250);
    }
  }
  EXPECT_EQ(all[2].packet_blocks, 32);
  EXPECT_EQ(all[2].sparing_tables, 2);
  EXPECT_EQ(all[2].sparing_table_bytes, 4096u);
  EXPECT_EQ(all[2].sparing_table_sector[0], 160u);
  EXPECT_EQ(all[2].sparing_table_sector[1], 192u);
  EXPECT_EQ(all[3].metadata_block, 1u);
  EXPECT_EQ(all[3].mirror_block, 9000u);
  EXPECT_EQ(all[3].bitmap_block, 2u);
  EXPECT_EQ(all[3].allocation_unit_blocks, 32u);
  EXPECT_EQ(all[3].alignment_unit_blocks, 16);
  EXPECT_TRUE(all[3].mirror_is_copy());
}

TEST(PartitionMap, CountAndTableBothBound) {
  const Buffer b = sample_maps();
  EXPECT_EQ(read(b, 2, PartitionMapStop::kEnd).size(), 2u);
  EXPECT_EQ(read(b, 0, PartitionMapStop::kEnd).size(), 0u);
  EXPECT_EQ(read(b, 5, PartitionMapStop::kTooFew).size(), 4u);
  EXPECT_EQ(read(b, 0xffffffff, PartitionMapStop::kTooFew).size(), 4u);
  EXPECT_EQ(read({}, 1, PartitionMapStop::kTooFew).size(), 0u);
}

TEST(PartitionMap, Truncated) {
  test::for_each_length(sample_maps(), [](Bytes b) {
    PartitionMapReader reader(b, 4);
    std::size_t bytes = 0;
    while (const auto m = reader.next()) bytes += m->raw.size();
    EXPECT_LE(bytes, b.size());
    const bool at_border = bytes == b.size();
    EXPECT_EQ(reader.stop(), b.size() == 198 ? PartitionMapStop::kEnd
                             : at_border     ? PartitionMapStop::kTooFew
                                             : PartitionMapStop::kBadLength);
  });
}

TEST(PartitionMap, LengthsThatCantBe) {
  for (const char* hex : {"00 00", "01 05 01 00 03 00", "02 01", "01 07 01 00 03 00", "02"}) {
    EXPECT_TRUE(read(from_hex(hex), 1, PartitionMapStop::kBadLength).empty()) << hex;
  }
}

TEST(PartitionMap, UnknownKindsAreKept) {
  Buffer b = sample_maps();
  b[6 + 5] = 'X';  // the first letter of the virtual map's identifier
  auto all = read(b, 4, PartitionMapStop::kEnd);
  EXPECT_EQ(all[1].kind, PartitionMapKind::kUnknown);
  EXPECT_EQ(all[1].identifier.identifier(), "XUDF Virtual Partition");
  EXPECT_EQ(all[1].problems, 0u);
  EXPECT_EQ(all[2].kind, PartitionMapKind::kSparable);

  const Buffer other = from_hex("07 04 AA BB 01 06 01 00 09 00");
  all = read(other, 2, PartitionMapStop::kEnd);
  EXPECT_EQ(all[0].kind, PartitionMapKind::kUnknown);
  EXPECT_EQ(all[0].type, 7);
  EXPECT_EQ(all[0].raw.size(), 4u);
  EXPECT_EQ(all[1].partition_number, 9);

  const Buffer short_type_2 = from_hex("02 06 AA BB CC DD");
  EXPECT_EQ(read(short_type_2, 1, PartitionMapStop::kEnd)[0].kind, PartitionMapKind::kUnknown);
  EXPECT_EQ(read(short_type_2, 1, PartitionMapStop::kEnd)[0].problems, map_problem::kLength);
}

TEST(PartitionMap, Problems) {
  Buffer b = sample_maps();
  const std::size_t sparable = 6 + 64, metadata = sparable + 64;
  b[sparable + 40] = 33;
  b[sparable + 42] = 5;
  b[metadata + 52] = 0;
  auto all = read(b, 4, PartitionMapStop::kEnd);
  EXPECT_EQ(all[2].problems, map_problem::kPacketLength | map_problem::kSparingTables);
  EXPECT_EQ(all[2].sparing_tables, 4);
  EXPECT_EQ(all[3].problems, map_problem::kUnits);
  b[sparable + 40] = b[sparable + 42] = 0;
  all = read(b, 4, PartitionMapStop::kEnd);
  EXPECT_EQ(all[2].problems, map_problem::kPacketLength | map_problem::kSparingTables);
  EXPECT_EQ(all[2].sparing_tables, 0);
  const Buffer long_type_1 = from_hex("01 08 01 00 03 00 00 00");
  EXPECT_EQ(read(long_type_1, 1, PartitionMapStop::kEnd)[0].problems, map_problem::kLength);
}

}  // namespace
}  // namespace lacuna::udf
