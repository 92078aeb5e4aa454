// SPDX-License-Identifier: GPL-3.0-or-later
// Layouts from memory of Inside Macintosh, Technical Note 1150, common practice of PC partition tables, and ECMA-167
// 2/9.
#include "iso9660/decode/hybrid.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::iso9660 {
namespace {

using test::Buffer;
using test::for_each_length;
using test::from_hex;
using test::put;

Buffer mbr() {
  Buffer b(512);
  put(b, 446, from_hex("80 00 01 00 17 3f 20 00 40 00 00 00 00 10 00 00"));
  put(b, 462, from_hex("00 00 00 00 ef 00 00 00 40 10 00 00 00 02 00 00"));
  put(b, 510, from_hex("55 aa"));
  return b;
}

TEST(Mbr, KnownGood) {
  const auto m = decode_mbr(mbr());
  ASSERT_TRUE(m);
  EXPECT_EQ(m->used, 2u);
  EXPECT_FALSE(m->gpt_protective);
  EXPECT_EQ(m->partitions[0].status, 0x80);
  EXPECT_EQ(m->partitions[0].type, 0x17);
  EXPECT_EQ(m->partitions[0].first_sector, 64u);
  EXPECT_EQ(m->partitions[0].sector_count, 4096u);
  EXPECT_EQ(m->partitions[1].first_sector, 0x1040u);
}

TEST(Mbr, Truncated) {
  for_each_length(mbr(), [](Bytes b) { EXPECT_EQ(decode_mbr(b).has_value(), b.size() == 512); });
}

TEST(Mbr, OthersAreNotTaken) {
  Buffer b = mbr();
  b[511] = 0;
  EXPECT_FALSE(decode_mbr(b));
  b = mbr();
  b[478] = 0x7f;
  EXPECT_FALSE(decode_mbr(b));
}

TEST(Mbr, Gpt) {
  Buffer b = mbr();
  b[450] = 0xee;
  EXPECT_TRUE(decode_mbr(b)->gpt_protective);
  b.resize(1024);
  put(b, 512, "EFI PART");
  for_each_length(b, [](Bytes cut) { EXPECT_EQ(is_gpt(cut), cut.size() >= 520); });
}

void put_partition(Buffer& b, std::size_t at, int count, int first, int blocks, std::string_view type) {
  put(b, at, "PM");
  b[at + 7] = static_cast<std::uint8_t>(count);
  b[at + 11] = static_cast<std::uint8_t>(first);
  b[at + 15] = static_cast<std::uint8_t>(blocks);
  put(b, at + 16, "a name");
  put(b, at + 48, type);
}

TEST(ApplePartitionMap, KnownGood) {
  Buffer b(4096);
  put(b, 0, from_hex("45 52 02 00 00 00 10 00"));
  put_partition(b, 512, 2, 1, 2, "Apple_partition_map");
  put_partition(b, 1024, 2, 64, 99, "Apple_HFS");
  put_partition(b, 1536, 2, 1, 1, "beyond the count");
  const auto m = decode_apple_partition_map(b);
  ASSERT_TRUE(m);
  EXPECT_TRUE(m->driver_descriptor);
  EXPECT_EQ(m->device_blocks, 4096u);
  EXPECT_EQ(m->map_block_bytes, 512u);
  ASSERT_EQ(m->partitions.size(), 2u);
  EXPECT_EQ(m->partitions[1].first_block, 64u);
  EXPECT_EQ(m->partitions[1].block_count, 99u);
  EXPECT_EQ(as_text(m->partitions[1].type).substr(0, 10), std::string_view("Apple_HFS\0", 10));
  EXPECT_EQ(as_text(m->partitions[1].name).substr(0, 6), "a name");
}

TEST(ApplePartitionMap, BlocksOf2048) {
  Buffer b(8192);
  put_partition(b, 2048, 2, 1, 2, "Apple_partition_map");
  put_partition(b, 4096, 2, 16, 99, "Apple_HFS");
  const auto m = decode_apple_partition_map(b);
  ASSERT_TRUE(m);
  EXPECT_FALSE(m->driver_descriptor);
  EXPECT_EQ(m->map_block_bytes, 2048u);
  EXPECT_EQ(m->partitions.size(), 2u);
}

TEST(ApplePartitionMap, Truncated) {
  Buffer b(1200);
  put_partition(b, 512, 200, 1, 2, "Apple_partition_map");
  put_partition(b, 1024, 200, 64, 99, "Apple_HFS");
  for_each_length(b, [](Bytes cut) {
    const auto m = decode_apple_partition_map(cut);
    const std::size_t expected = cut.size() >= 1104 ? 2 : (cut.size() >= 592 ? 1 : 0);
    EXPECT_EQ(m ? m->partitions.size() : 0, expected);
  });
  EXPECT_FALSE(decode_apple_partition_map(Buffer(32768)));
}

TEST(ApplePartitionMap, MaximalCountIsBoundedByTheBytes) {
  Buffer b(32768);
  for (std::size_t at = 512; at < b.size(); at += 512) put_partition(b, at, 0, 1, 2, "x");
  for (std::size_t at = 512; at < b.size(); at += 512) put(b, at + 4, from_hex("ff ff ff ff"));
  EXPECT_EQ(decode_apple_partition_map(b)->partitions.size(), 63u);
}

TEST(AppleVolume, Hfs) {
  Buffer b(1152);
  put(b, 1024, "BD");
  put(b, 1024 + 18, from_hex("12 34 00 00 04 00"));
  b[1024 + 36] = 5;
  put(b, 1024 + 37, "Films rest");
  for_each_length(b, [&](Bytes cut) { EXPECT_EQ(decode_apple_volume(cut).has_value(), cut.size() == b.size()); });
  auto v = decode_apple_volume(b);
  EXPECT_EQ(v->kind, AppleFileSystem::kHfs);
  EXPECT_EQ(v->block_count, 0x1234u);
  EXPECT_EQ(v->block_bytes, 1024u);
  EXPECT_EQ(as_text(v->name), "Films");
  EXPECT_FALSE(v->wraps_hfs_plus);
  put(b, 1024 + 124, "H+");
  EXPECT_TRUE(decode_apple_volume(b)->wraps_hfs_plus);
  b[1024 + 36] = 255;
  EXPECT_EQ(decode_apple_volume(b)->name.size(), 27u);
  b[1024 + 23] = 1;
  EXPECT_FALSE(decode_apple_volume(b));
}

TEST(AppleVolume, HfsPlus) {
  Buffer b(1536);
  put(b, 1024, from_hex("48 2b 00 04"));
  put(b, 1024 + 40, from_hex("00 00 10 00 00 01 00 00"));
  auto v = decode_apple_volume(b);
  ASSERT_TRUE(v);
  EXPECT_EQ(v->kind, AppleFileSystem::kHfsPlus);
  EXPECT_EQ(v->block_bytes, 4096u);
  EXPECT_EQ(v->block_count, 65536u);
  put(b, 1024, from_hex("48 58 00 05"));
  EXPECT_EQ(decode_apple_volume(b)->kind, AppleFileSystem::kHfsx);
  put(b, 1024, from_hex("48 58 00 04"));
  EXPECT_FALSE(decode_apple_volume(b));
  EXPECT_FALSE(decode_apple_volume(Buffer(2048)));
}

TEST(Vrs, Identifiers) {
  const std::pair<const char*, VrsId> kCases[] = {
      {"BEA01", VrsId::kBea01}, {"NSR02", VrsId::kNsr02}, {"NSR03", VrsId::kNsr03}, {"TEA01", VrsId::kTea01},
      {"BOOT2", VrsId::kBoot2}, {"CDW02", VrsId::kCdw02}, {"CD001", VrsId::kCd001}};
  for (const auto& [text, id] : kCases) {
    Buffer b(7);
    put(b, 1, text);
    b[6] = 1;
    EXPECT_EQ(decode_vrs(b), id);
    for_each_length(b, [](Bytes cut) { EXPECT_EQ(decode_vrs(cut).has_value(), cut.size() == 7); });
    b[6] = 2;
    EXPECT_EQ(decode_vrs(b).has_value(), id == VrsId::kCd001);
  }
  EXPECT_FALSE(decode_vrs(Buffer(2048)));
}

}  // namespace
}  // namespace lacuna::iso9660
