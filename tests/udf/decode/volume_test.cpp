// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/volume.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/cs0.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::for_each_length;

/// Decodes from `fixed` bytes on and not from fewer, nor under another tag; the tag proves all of the fields.
template <class Decode>
void expect_guarded(const Buffer& good, std::uint32_t location, std::size_t fixed, Decode decode) {
  for_each_length(Buffer(good.begin(), good.begin() + 512),
                  [&](Bytes b) { EXPECT_EQ(decode(b).has_value(), b.size() >= fixed); });
  Buffer other = good;
  other[1] ^= 0x20;
  EXPECT_FALSE(decode(other));
  const auto d = decode(good);
  ASSERT_TRUE(d);
  EXPECT_TRUE(check_tag(good, location, d->bytes).fine());
  EXPECT_FALSE(check_tag(Bytes(good).first(static_cast<std::size_t>(d->bytes) - 1), location, d->bytes).proven());
}

TEST(Anchor, Decodes) {
  const Buffer b = test::sample_anchor();
  expect_guarded(b, 256, 32, decode_anchor);
  const auto a = decode_anchor(b);
  EXPECT_EQ(a->main.length_bytes, 32768u);
  EXPECT_EQ(a->main.sector, 32u);
  EXPECT_EQ(a->reserve.sector, 48u);
  EXPECT_EQ(a->problems, 0u);
}

TEST(Anchor, Extents) {
  Buffer b = test::sample_anchor();
  std::fill_n(b.begin() + 24, 8, std::uint8_t{0});
  EXPECT_EQ(decode_anchor(b)->problems, 0u);  // 3/10.2: there may be no reserve
  b[27] = 0x40;
  EXPECT_EQ(decode_anchor(b)->problems, volume_problem::kExtent);
  b = test::sample_anchor();
  std::fill_n(b.begin() + 16, 8, std::uint8_t{0});
  EXPECT_EQ(decode_anchor(b)->problems, volume_problem::kExtent);
}

TEST(PrimaryVolume, Decodes) {
  const Buffer b = test::sample_primary_volume();
  expect_guarded(b, 32, 490, decode_primary_volume);
  const auto v = decode_primary_volume(b);
  EXPECT_EQ(v->sequence, 7u);
  EXPECT_EQ(v->number, 0u);
  EXPECT_EQ(dstring_display(v->volume_id), "Winter 2004");
  EXPECT_EQ(v->volume_id.size(), 32u);
  EXPECT_EQ(v->volume_set_id.size(), 128u);
  EXPECT_EQ(v->volume_number, 1);
  EXPECT_EQ(v->max_volume_number, 2);
  EXPECT_EQ(v->interchange_level, 3);
  EXPECT_EQ(dstring_display(v->volume_set_id), "4099000100000000Winter set");
  EXPECT_EQ(v->application.identifier(), "*Some application");
  EXPECT_EQ(v->implementation.identifier(), "*Some writer");
  EXPECT_EQ(to_iso8601(v->recorded), test::kSampleTime);
  EXPECT_EQ(v->flags, 1);
  EXPECT_EQ(v->problems, 0u);
}

TEST(PrimaryVolume, Problems) {
  const auto with = [](std::size_t at, std::uint8_t value) {
    Buffer b = test::sample_primary_volume();
    b[at] = value;
    return decode_primary_volume(b)->problems;
  };
  EXPECT_EQ(with(55, 32), volume_problem::kText);
  EXPECT_EQ(with(72, 9), volume_problem::kText);
  EXPECT_EQ(with(201, 'o'), volume_problem::kCharspec);
  EXPECT_EQ(with(264, 1), volume_problem::kCharspec);
  EXPECT_EQ(with(380, 13), volume_problem::kTime);
}

TEST(VolumePointer, Decodes) {
  const Buffer b = test::sample_volume_pointer();
  expect_guarded(b, 33, 28, decode_volume_pointer);
  const auto p = decode_volume_pointer(b);
  EXPECT_EQ(p->sequence, 8u);
  EXPECT_EQ(p->next.length_bytes, 16384u);
  EXPECT_EQ(p->next.sector, 900u);
  EXPECT_EQ(p->problems, 0u);
  Buffer empty = b;
  std::fill_n(empty.begin() + 20, 4, std::uint8_t{0});
  EXPECT_EQ(decode_volume_pointer(empty)->problems, volume_problem::kExtent);
}

TEST(ImplementationUseVolume, LvInfo) {
  const Buffer b = test::sample_lv_info();
  const auto v = decode_implementation_use_volume(b);
  ASSERT_TRUE(v);
  EXPECT_TRUE(check_tag(b, 34, v->bytes).fine());
  EXPECT_EQ(v->sequence, 9u);
  EXPECT_TRUE(v->is_lv_info);
  EXPECT_EQ(v->implementation.revision(), 0x0201);
  EXPECT_EQ(dstring_display(v->logical_volume_id), "Winter");
  EXPECT_EQ(v->logical_volume_id.size(), 128u);
  for (const Bytes info : v->info) EXPECT_EQ(info.size(), 36u);
  EXPECT_EQ(dstring_display(v->info[0]), "owner");
  EXPECT_EQ(dstring_display(v->info[1]), "house");
  EXPECT_EQ(dstring_display(v->info[2]), "post");
  EXPECT_EQ(v->lv_info_writer.identifier(), "*Some writer");
  EXPECT_EQ(v->lv_info_writer.implementation_system().os_class, 4);
  EXPECT_EQ(v->bytes, 384u);
  EXPECT_EQ(v->problems, 0u);
}

TEST(ImplementationUseVolume, OthersAndCutOnes) {
  Buffer b = test::sample_lv_info();
  for_each_length(b, [](Bytes part) {
    const auto v = decode_implementation_use_volume(part);
    EXPECT_EQ(v.has_value(), part.size() >= 52);
    if (v) {
      EXPECT_EQ(v->is_lv_info, part.size() >= 384);
      EXPECT_EQ(v->logical_volume_id.empty(), !v->is_lv_info);
    }
  });
  b[21] = '+';
  const auto v = decode_implementation_use_volume(b);
  EXPECT_FALSE(v->is_lv_info);
  EXPECT_EQ(v->bytes, 52u);
}

TEST(Partition, Decodes) {
  const Buffer b = test::sample_partition();
  expect_guarded(b, 35, 228, decode_partition);
  const auto p = decode_partition(b);
  EXPECT_EQ(p->sequence, 10u);
  EXPECT_EQ(p->flags, 1);
  EXPECT_EQ(p->number, 3);
  EXPECT_TRUE(p->is_nsr());
  EXPECT_EQ(p->header.unallocated_table.block, 1u);
  EXPECT_EQ(p->header.unallocated_bitmap.length_bytes, 4096u);
  EXPECT_TRUE(p->header.integrity_table.none());
  EXPECT_TRUE(p->header.freed_table.none());
  EXPECT_EQ(p->header.freed_bitmap.type, ExtentType::kUnrecorded);
  EXPECT_EQ(p->header.freed_bitmap.block, 5u);
  EXPECT_EQ(p->access, AccessType::kOverwritable);
  EXPECT_EQ(p->start_sector, 257u);
  EXPECT_EQ(p->length_sectors, 10000u);
  EXPECT_EQ(p->implementation.identifier(), "*Some writer");
  EXPECT_EQ(p->problems, 0u);
}

TEST(Partition, OtherContentsAndAccess) {
  Buffer b = test::sample_partition();
  b[184] = 5;
  EXPECT_EQ(decode_partition(b)->problems, volume_problem::kAccessType);
  b[184] = 0;
  EXPECT_EQ(decode_partition(b)->access, AccessType::kPseudoOverwritable);
  b[26] = 'X';
  EXPECT_EQ(decode_partition(b)->problems, volume_problem::kIdentifier);
  EXPECT_TRUE(decode_partition(b)->header.unallocated_table.none());
}

TEST(LogicalVolume, Decodes) {
  const Buffer b = test::sample_logical_volume();
  expect_guarded(b, 36, 440, decode_logical_volume);
  const auto v = decode_logical_volume(b);
  EXPECT_EQ(v->sequence, 11u);
  EXPECT_EQ(dstring_display(v->volume_id), "Winter");
  EXPECT_EQ(v->volume_id.size(), 128u);
  EXPECT_EQ(v->block_bytes, 2048u);
  EXPECT_EQ(v->domain.revision(), 0x0250);
  EXPECT_EQ(v->file_set.length_bytes, 4096u);
  EXPECT_EQ(v->file_set.location, (LbAddr{0, 1}));
  EXPECT_EQ(v->map_count, 4u);
  EXPECT_EQ(v->maps.size(), 198u);
  EXPECT_EQ(v->implementation.identifier(), "*Some writer");
  EXPECT_EQ(v->integrity.length_bytes, 8192u);
  EXPECT_EQ(v->integrity.sector, 64u);
  EXPECT_EQ(v->bytes, 638u);
  EXPECT_EQ(v->problems, 0u);
}

TEST(LogicalVolume, TableBeyond) {
  const Buffer b = test::sample_logical_volume();
  for (const std::size_t size : {440u, 441u, 637u}) {
    const auto v = decode_logical_volume(Bytes(b).first(size));
    EXPECT_EQ(v->maps.size(), size - 440);
    EXPECT_EQ(v->problems, volume_problem::kTableBeyond);
    EXPECT_EQ(v->bytes, 638u);
  }
  Buffer absurd = b;
  std::fill_n(absurd.begin() + 264, 4, std::uint8_t{0xff});
  const auto v = decode_logical_volume(absurd);
  EXPECT_EQ(v->bytes, 440 + std::uint64_t{0xffffffff});
  EXPECT_EQ(v->maps.size(), b.size() - 440);
  EXPECT_FALSE(check_tag(absurd, 36, v->bytes).proven());
}

TEST(LogicalVolume, Problems) {
  const auto with = [](std::size_t at, std::uint8_t value) {
    Buffer b = test::sample_logical_volume();
    b[at] = value;
    return decode_logical_volume(b)->problems;
  };
  EXPECT_EQ(with(212, 1), volume_problem::kBlockSize);  // 2049
  EXPECT_EQ(with(213, 0), volume_problem::kBlockSize);  // 0
  EXPECT_EQ(with(213, 1), volume_problem::kBlockSize);  // 256
  EXPECT_EQ(with(213, 2), 0u);                   // 512
  EXPECT_EQ(with(213, 0x80), 0u);                // 32768
  EXPECT_EQ(with(217, '+'), volume_problem::kIdentifier);
  EXPECT_EQ(with(249, 0), volume_problem::kExtent);
  EXPECT_EQ(with(435, 0x80), volume_problem::kExtent);
  EXPECT_EQ(with(211, 200), volume_problem::kText);
  EXPECT_EQ(with(20, 1), volume_problem::kCharspec);
}

TEST(UnallocatedSpace, Decodes) {
  const Buffer b = test::sample_unallocated_space();
  expect_guarded(b, 37, 24, decode_unallocated_space);
  const auto s = decode_unallocated_space(b);
  EXPECT_EQ(s->sequence, 12u);
  EXPECT_EQ(s->count, 2u);
  ASSERT_EQ(s->size(), 2u);
  EXPECT_EQ((*s)[0].sector, 100u);
  EXPECT_EQ((*s)[1].length_bytes, 4096u);
  EXPECT_EQ(s->bytes, 40u);
  EXPECT_EQ(s->problems, 0u);
}

TEST(UnallocatedSpace, TableBeyond) {
  Buffer b = test::sample_unallocated_space();
  EXPECT_EQ(decode_unallocated_space(Bytes(b).first(39))->size(), 1u);
  EXPECT_EQ(decode_unallocated_space(Bytes(b).first(39))->problems, volume_problem::kTableBeyond);
  std::fill_n(b.begin() + 20, 4, std::uint8_t{0xff});
  const auto s = decode_unallocated_space(b);
  EXPECT_EQ(s->size(), 61u);
  EXPECT_EQ(s->bytes, 24 + std::uint64_t{0xffffffff} * 8);
  EXPECT_EQ(s->problems, volume_problem::kTableBeyond);
}

TEST(Terminating, Decodes) {
  Buffer b = test::sample_terminating();
  EXPECT_TRUE(decode_terminating(b)->rest_zero);
  EXPECT_TRUE(decode_terminating(Bytes(b).first(16))->rest_zero);
  EXPECT_FALSE(decode_terminating(Bytes(b).first(15)));
  b[511] = 1;
  EXPECT_FALSE(decode_terminating(b)->rest_zero);
  b.resize(2048);
  b[511] = 0;
  b[512] = 1;  // beyond the descriptor
  EXPECT_TRUE(decode_terminating(b)->rest_zero);
}

TEST(Integrity, Decodes) {
  const Buffer b = test::sample_integrity();
  expect_guarded(b, 64, 80, decode_integrity);
  const auto v = decode_integrity(b);
  EXPECT_EQ(to_iso8601(v->recorded), test::kSampleTime);
  EXPECT_TRUE(v->is_closed());
  EXPECT_EQ(v->next.sector, 65u);
  EXPECT_EQ(v->next_unique_id, 0x123456789au);
  EXPECT_EQ(v->partitions, 2u);
  EXPECT_EQ(v->free_blocks(0), 1234u);
  EXPECT_FALSE(v->free_blocks(1));  // FFFFFFFF
  EXPECT_EQ(v->size_blocks(0), 10000u);
  EXPECT_EQ(v->size_blocks(1), 9000u);
  EXPECT_FALSE(v->size_blocks(2));
  EXPECT_TRUE(v->has_use);
  EXPECT_EQ(v->implementation.identifier(), "*Some writer");
  EXPECT_EQ(v->files, 77u);
  EXPECT_EQ(v->directories, 8u);
  EXPECT_EQ(v->min_read, 0x0201);
  EXPECT_EQ(v->min_write, 0x0250);
  EXPECT_EQ(v->max_write, 0x0260);
  EXPECT_EQ(v->bytes, 142u);
  EXPECT_EQ(v->problems, 0u);
  Buffer open = b;
  open[28] = 0;
  EXPECT_FALSE(decode_integrity(open)->is_closed());
}

TEST(Integrity, TablesAndUseBeyond) {
  const Buffer b = test::sample_integrity();
  for (std::size_t size = 80; size <= 142; ++size) {
    const auto v = decode_integrity(Bytes(b).first(size));
    EXPECT_EQ(v->free_table.size(), size < 96 ? 0u : 8u) << size;
    EXPECT_EQ(v->has_use, size >= 142) << size;
    EXPECT_EQ(v->problems, size < 142 ? volume_problem::kTableBeyond : 0u) << size;
  }
  Buffer absurd = b;
  std::fill_n(absurd.begin() + 72, 8, std::uint8_t{0xff});
  const auto v = decode_integrity(absurd);
  EXPECT_EQ(v->bytes, 80 + 9 * std::uint64_t{0xffffffff});
  EXPECT_TRUE(v->free_table.empty());
  EXPECT_FALSE(v->free_blocks(0));
  Buffer no_use = b;
  no_use[76] = 45;  // shorter than UDF's fields
  EXPECT_FALSE(decode_integrity(no_use)->has_use);
  EXPECT_EQ(decode_integrity(no_use)->problems, 0u);
}

}  // namespace
}  // namespace lacuna::udf
