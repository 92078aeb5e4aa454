// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/volume_descriptor.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::iso9660 {
namespace {

using test::both16_bytes;
using test::both32_bytes;
using test::Buffer;
using test::for_each_length;
using test::from_hex;
using test::operator+;
using test::put;

Buffer header(std::uint8_t type, std::uint8_t version = 1) {
  Buffer b(kDescriptorBytes);
  b[0] = type;
  put(b, 1, "CD001");
  b[6] = version;
  return b;
}

/// ECMA-119 8.4, every field with a value of its own.
Buffer primary() {
  Buffer b = header(1);
  put(b, 8, "SYSTEM" + std::string(26, ' '));
  put(b, 40, "HARBOUR_FILMS_1999" + std::string(14, ' '));
  put(b, 80, both32_bytes(1000));
  put(b, 120, both16_bytes(2));
  put(b, 124, both16_bytes(1));
  put(b, 128, both16_bytes(2048));
  put(b, 132, both32_bytes(0x0a0b0c0d));
  put(b, 140, from_hex("12 00 00 00 13 00 00 00 00 00 00 14 00 00 00 15"));
  put(b, 156,
      from_hex("22 00") + both32_bytes(22) + both32_bytes(2048) + from_hex("68 05 06 07 08 09 00 02 00 00") +
          both16_bytes(1) + from_hex("01 00"));
  put(b, 190, "SET" + std::string(125, ' '));
  put(b, 318, "PUBLISHER" + std::string(119, ' '));
  put(b, 446, "PREPARER" + std::string(120, ' '));
  put(b, 574, "APPLICATION" + std::string(117, ' '));
  put(b, 702, "COPY.TXT;1" + std::string(27, ' '));
  put(b, 739, "ABST.TXT;1" + std::string(27, ' '));
  put(b, 776, "BIBL.TXT;1" + std::string(27, ' '));
  put(b, 813, "2001010203040506");
  put(b, 830, "2002010203040506");
  put(b, 847, "2003010203040506");
  put(b, 864, "0000000000000000");
  b[881] = 1;
  return b;
}

Buffer supplementary(std::uint8_t version, std::string_view escape) {
  Buffer b = primary();
  b[0] = 2;
  b[6] = version;
  b[881] = version;
  put(b, 88, escape);
  return b;
}

std::uint32_t descriptor_problems(const Buffer& b) {
  const auto d = decode_volume_descriptor(b);
  EXPECT_TRUE(d.has_value());
  return d ? d->problems : ~0u;
}

TEST(VolumeDescriptor, KnownGood) {
  const Buffer b = primary();
  const auto d = decode_volume_descriptor(b);
  ASSERT_TRUE(d);
  EXPECT_EQ(d->type, 1);
  EXPECT_EQ(d->version, 1);
  EXPECT_EQ(d->flags, 0);
  EXPECT_EQ(as_text(d->system_id), "SYSTEM" + std::string(26, ' '));
  EXPECT_EQ(as_text(d->volume_id).substr(0, 19), "HARBOUR_FILMS_1999 ");
  EXPECT_EQ(d->volume_id.size(), 32u);
  EXPECT_EQ(d->space_size.value(), 1000u);
  EXPECT_EQ(d->escape_sequences.size(), 32u);
  EXPECT_EQ(d->set_size.value(), 2);
  EXPECT_EQ(d->sequence_number.value(), 1);
  EXPECT_EQ(d->logical_block_size.value(), 2048);
  EXPECT_EQ(d->block_bytes(), 2048u);
  EXPECT_EQ(d->path_table_size.value(), 0x0a0b0c0du);
  EXPECT_EQ(d->path_table_l, 18u);
  EXPECT_EQ(d->optional_path_table_l, 19u);
  EXPECT_EQ(d->path_table_m, 20u);
  EXPECT_EQ(d->optional_path_table_m, 21u);
  EXPECT_EQ(d->root_record.size(), 34u);
  EXPECT_EQ(as_text(d->volume_set_id).substr(0, 4), "SET ");
  EXPECT_EQ(as_text(d->publisher_id).substr(0, 10), "PUBLISHER ");
  EXPECT_EQ(as_text(d->data_preparer_id).substr(0, 9), "PREPARER ");
  EXPECT_EQ(as_text(d->application_id).substr(0, 12), "APPLICATION ");
  EXPECT_EQ(d->application_id.size(), 128u);
  EXPECT_EQ(as_text(d->copyright_file_id).substr(0, 5), "COPY.");
  EXPECT_EQ(as_text(d->abstract_file_id).substr(0, 5), "ABST.");
  EXPECT_EQ(as_text(d->bibliographic_file_id).substr(0, 5), "BIBL.");
  EXPECT_EQ(d->bibliographic_file_id.size(), 37u);
  EXPECT_EQ(to_iso8601(d->created), "2001-01-02T03:04:05.06+00:00");
  EXPECT_EQ(to_iso8601(d->modified), "2002-01-02T03:04:05.06+00:00");
  EXPECT_EQ(to_iso8601(d->expires), "2003-01-02T03:04:05.06+00:00");
  EXPECT_FALSE(d->effective.known);
  EXPECT_EQ(d->file_structure_version, 1);
  EXPECT_FALSE(d->xa_marker);
  EXPECT_EQ(d->problems, 0u);
}

TEST(VolumeDescriptor, Truncated) {
  for_each_length(primary(), [](Bytes b) {
    EXPECT_EQ(decode_volume_descriptor(b).has_value(), b.size() == kDescriptorBytes);
    EXPECT_EQ(decode_descriptor_header(b).has_value(), b.size() >= 7);
  });
}

TEST(VolumeDescriptor, OtherTypesAreNotTaken) {
  for (unsigned type = 0; type <= 255; ++type) {
    Buffer b = primary();
    b[0] = static_cast<std::uint8_t>(type);
    EXPECT_EQ(decode_volume_descriptor(b).has_value(), type == 1 || type == 2) << type;
    EXPECT_EQ(decode_descriptor_header(b)->type, type);
  }
  Buffer b = primary();
  b[3] = 'X';
  EXPECT_FALSE(decode_volume_descriptor(b));
  EXPECT_FALSE(decode_descriptor_header(b));
}

TEST(VolumeDescriptor, EachViolationIsNamedAndAllElseIsDecoded) {
  const struct {
    std::size_t at;
    std::uint32_t problems;
  } kCases[] = {{6, descriptor_problem::kVersion},
                {7, descriptor_problem::kReserved},
                {72, descriptor_problem::kReserved},
                {79, descriptor_problem::kReserved},
                {83, descriptor_problem::kSpaceSizeHalves},
                {84, descriptor_problem::kSpaceSizeHalves},
                {88, descriptor_problem::kReserved},
                {119, descriptor_problem::kReserved},
                {121, descriptor_problem::kSetSizeHalves},
                {126, descriptor_problem::kSequenceHalves},
                {130, descriptor_problem::kBlockSizeHalves},
                {128, descriptor_problem::kBlockSizeHalves},
                {139, descriptor_problem::kPathTableSizeHalves},
                {156, descriptor_problem::kRootRecord},
                {189, descriptor_problem::kRootRecord},
                {813, descriptor_problem::kCreationDate},
                {829, descriptor_problem::kCreationDate},
                {830, descriptor_problem::kModificationDate},
                {847, descriptor_problem::kExpirationDate},
                {864, descriptor_problem::kEffectiveDate},
                {881, descriptor_problem::kFileStructureVersion},
                {882, descriptor_problem::kReserved},
                {1395, descriptor_problem::kReserved},
                {2047, descriptor_problem::kReserved}};
  for (const auto& c : kCases) {
    Buffer b = primary();
    b[c.at] ^= 0x80;
    EXPECT_EQ(descriptor_problems(b), c.problems) << c.at;
    EXPECT_EQ(decode_volume_descriptor(b)->path_table_l, 18u);
  }
  Buffer b = primary();
  b[900] = 1;  // 8.4.32: the application's own
  EXPECT_EQ(descriptor_problems(b), 0u);
}

TEST(VolumeDescriptor, BlockSizes) {
  for (const int size : {512, 1024, 2048}) {
    Buffer b = primary();
    put(b, 128, both16_bytes(static_cast<std::uint16_t>(size)));
    EXPECT_EQ(descriptor_problems(b), 0u);
    EXPECT_EQ(decode_volume_descriptor(b)->block_bytes(), static_cast<unsigned>(size));
  }
  Buffer b = primary();
  put(b, 128, from_hex("00 00 04 00"));  // the big half alone
  EXPECT_EQ(descriptor_problems(b), descriptor_problem::kBlockSizeHalves);
  EXPECT_EQ(decode_volume_descriptor(b)->block_bytes(), 1024u);
  put(b, 128, from_hex("01 08 04 00"));  // the little one damaged
  EXPECT_EQ(decode_volume_descriptor(b)->block_bytes(), 1024u);
  put(b, 128, both16_bytes(4096));
  EXPECT_EQ(descriptor_problems(b), descriptor_problem::kBlockSize);
  EXPECT_EQ(decode_volume_descriptor(b)->block_bytes(), 2048u);
}

// Escape sequences of Joliet: format documents name 25 2F 40, 43 and 45 (values from memory).
TEST(VolumeDescriptor, Joliet) {
  const auto level = [](const Buffer& b) { return joliet_level(*decode_volume_descriptor(b)); };
  EXPECT_EQ(level(supplementary(1, "%/@")), 1);
  EXPECT_EQ(level(supplementary(1, "%/C")), 2);
  EXPECT_EQ(level(supplementary(1, "%/E")), 3);
  EXPECT_EQ(level(supplementary(1, "%/F")), 0);
  EXPECT_EQ(level(supplementary(1, "")), 0);
  EXPECT_EQ(level(supplementary(2, "%/E")), 0);
  EXPECT_EQ(level(primary()), 0);
  EXPECT_EQ(descriptor_problems(supplementary(1, "%/E")), 0u);
}

TEST(VolumeDescriptor, Enhanced) {
  const Buffer b = supplementary(2, "");
  EXPECT_TRUE(is_enhanced(*decode_volume_descriptor(b)));
  EXPECT_EQ(descriptor_problems(b), 0u);
  const Buffer joliet = supplementary(1, "%/E");
  EXPECT_FALSE(is_enhanced(*decode_volume_descriptor(joliet)));
  Buffer p = primary();
  p[6] = 2;
  EXPECT_FALSE(is_enhanced(*decode_volume_descriptor(p)));
  EXPECT_EQ(descriptor_problems(p), descriptor_problem::kVersion);
}

TEST(VolumeDescriptor, XaMarker) {
  Buffer b = primary();
  put(b, 1024, "CD-XA001");
  EXPECT_TRUE(decode_volume_descriptor(b)->xa_marker);
  EXPECT_EQ(descriptor_problems(b), 0u);
}

TEST(HighSierra, IsRecognised) {
  Buffer b(2048);
  put(b, 8, from_hex("01"));
  put(b, 9, "CDROM");
  for_each_length(Buffer(b.begin(), b.begin() + 20),
                  [](Bytes cut) { EXPECT_EQ(is_high_sierra(cut), cut.size() >= 14); });
  EXPECT_FALSE(is_high_sierra(primary()));
  EXPECT_FALSE(decode_descriptor_header(b));
}

TEST(BootRecord, ElTorito) {
  Buffer b = header(0);
  put(b, 7, "EL TORITO SPECIFICATION");
  put(b, 71, from_hex("15 03 00 00"));
  const auto r = decode_boot_record(b);
  ASSERT_TRUE(r);
  EXPECT_TRUE(r->el_torito);
  EXPECT_EQ(r->catalog_lba, 0x315u);
  EXPECT_EQ(r->boot_system_id.size(), 32u);
  for_each_length(b, [](Bytes cut) { EXPECT_EQ(decode_boot_record(cut).has_value(), cut.size() == 2048); });
}

TEST(BootRecord, OtherSystemsHaveNoCatalog) {
  Buffer b = header(0);
  put(b, 7, "SOME OTHER LOADER");
  put(b, 71, from_hex("15 03 00 00"));
  EXPECT_FALSE(decode_boot_record(b)->el_torito);
  EXPECT_EQ(decode_boot_record(b)->catalog_lba, 0u);
  EXPECT_FALSE(decode_boot_record(primary()));
}

TEST(VolumePartition, KnownGood) {
  Buffer b = header(3);
  put(b, 8, "SYS");
  put(b, 40, "PART");
  put(b, 72, both32_bytes(777));
  put(b, 80, both32_bytes(888));
  const auto p = decode_volume_partition(b);
  ASSERT_TRUE(p);
  EXPECT_EQ(as_text(p->system_id).substr(0, 3), "SYS");
  EXPECT_EQ(as_text(p->partition_id).substr(0, 4), "PART");
  EXPECT_EQ(p->location.value(), 777u);
  EXPECT_EQ(p->size.value(), 888u);
  for_each_length(b, [](Bytes cut) { EXPECT_EQ(decode_volume_partition(cut).has_value(), cut.size() == 2048); });
}

TEST(SetTerminator, KnownGood) {
  Buffer b = header(255);
  EXPECT_TRUE(decode_set_terminator(b)->reserved_zero);
  for_each_length(b, [](Bytes cut) { EXPECT_EQ(decode_set_terminator(cut).has_value(), cut.size() == 2048); });
  b[2047] = 1;
  EXPECT_FALSE(decode_set_terminator(b)->reserved_zero);
  EXPECT_FALSE(decode_set_terminator(primary()));
}

}  // namespace
}  // namespace lacuna::iso9660
