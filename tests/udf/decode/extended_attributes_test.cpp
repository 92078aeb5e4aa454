// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/extended_attributes.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/cs0.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::for_each_length;
using test::Layout;
using test::operator+;
using AttributeStop = AttributeReader::Stop;

std::vector<Attribute> read(Bytes space, AttributeStop expected) {
  AttributeReader reader(space);
  std::vector<Attribute> all;
  while (const auto a = reader.next()) all.push_back(*a);
  EXPECT_EQ(reader.stop(), expected);
  EXPECT_FALSE(reader.next());
  return all;
}

TEST(AttributeHeader, Decodes) {
  const Buffer b = test::sample_extended_attributes();
  const auto h = decode_attribute_header(b);
  ASSERT_TRUE(h);
  EXPECT_TRUE(check_tag(b, 8, h->bytes).fine());
  EXPECT_EQ(h->implementation_offset, 24u + 44 + 32 + 56);
  EXPECT_EQ(h->application_offset, h->implementation_offset + 52 + 196);
  for_each_length(Buffer(b.begin(), b.begin() + 24),
                  [](Bytes part) { EXPECT_EQ(decode_attribute_header(part).has_value(), part.size() == 24); });
  EXPECT_FALSE(decode_attribute_header(test::sample_file_entry()));
}

TEST(Attributes, Walks) {
  const Buffer b = test::sample_extended_attributes();
  const auto all = read(b, AttributeStop::kEnd);
  ASSERT_EQ(all.size(), 6u);
  const std::uint32_t types[] = {5, 6, 12, 2048, 2048, 65536};
  std::size_t offset = 24;
  for (std::size_t i = 0; i < 6; ++i) {
    EXPECT_EQ(all[i].type, types[i]);
    EXPECT_EQ(all[i].subtype, 1);
    EXPECT_EQ(all[i].offset, offset);
    offset += 12 + all[i].data.size();
  }
  EXPECT_EQ(offset, b.size());
}

TEST(Attributes, OneDecoderATypeEach) {
  const Buffer b = test::sample_extended_attributes();
  const auto all = read(b, AttributeStop::kEnd);
  for (const Attribute& a : all) {
    EXPECT_EQ(decode_file_times(a).has_value(), a.type == 5);
    EXPECT_EQ(decode_information_times(a).has_value(), a.type == 6);
    EXPECT_EQ(decode_device_specification(a).has_value(), a.type == 12);
    EXPECT_EQ(decode_use_attribute(a).has_value(), a.type == 2048 || a.type == 65536);
  }

  const auto times = decode_file_times(all[0]);
  EXPECT_EQ(to_iso8601(times->created), test::kSampleTime);
  EXPECT_EQ(to_iso8601(times->backed_up), test::kSampleTime);
  EXPECT_FALSE(times->deleted.known || times->effective.known);
  const auto information = decode_information_times(all[1]);
  EXPECT_EQ(to_iso8601(information->modified), test::kSampleTime);
  EXPECT_FALSE(information->created.known || information->expires.known || information->effective.known);
  const auto device = decode_device_specification(all[2]);
  EXPECT_EQ(device->major_number, 8u);
  EXPECT_EQ(device->minor_number, 17u);
  EXPECT_EQ(device->implementation_use.size(), 32u);
  const auto use = decode_use_attribute(all[3]);
  EXPECT_EQ(use->identifier.identifier(), "*UDF FreeEASpace");
  EXPECT_EQ(use->use.size(), 4u);
  EXPECT_FALSE(decode_vat_extension(*use));
  EXPECT_EQ(decode_use_attribute(all[5])->identifier.identifier(), "*Some application");
}

TEST(Attributes, VatExtension) {
  const Buffer b = test::sample_extended_attributes();
  UseAttribute use = *decode_use_attribute(read(b, AttributeStop::kEnd)[4]);
  const auto vat = decode_vat_extension(use);
  ASSERT_TRUE(vat);
  EXPECT_EQ(vat->verification_id, 99u);
  EXPECT_EQ(vat->files, 20u);
  EXPECT_EQ(vat->directories, 3u);
  EXPECT_EQ(dstring_display(vat->logical_volume_id), "Winter");
  EXPECT_EQ(vat->logical_volume_id.size(), 128u);
  use.use = use.use.first(145);
  EXPECT_FALSE(decode_vat_extension(use));
}

// 4/14.10.5.6: times stand in the order of the bits, bits of reserved numbers included.
TEST(Attributes, TimesInTheOrderOfTheirBits) {
  Layout l(8 + 3 * 12);
  l.u32(0, 36).u32(4, 1 << 1 | 1 << 2 | 1 << 3).time(8).time(20).time(32).u16(22, 2005).u16(34, 2006);
  const Attribute a{5, 1, 0, l.bytes()};
  const auto times = decode_file_times(a);
  EXPECT_FALSE(times->created.known);
  EXPECT_TRUE(to_iso8601(times->deleted).starts_with("2005"));
  EXPECT_TRUE(to_iso8601(times->effective).starts_with("2006"));
}

TEST(Attributes, TimesThatAreNotThere) {
  Layout l(8 + 12);
  l.u32(0, 0xffffffff).u32(4, 0xffffffff).time(8);
  const Attribute a{6, 1, 0, l.bytes()};
  const auto times = decode_information_times(a);
  EXPECT_TRUE(times->created.known);
  EXPECT_FALSE(times->modified.known || times->expires.known || times->effective.known);
  l.u32(0, 11);
  const Attribute cut{6, 1, 0, l.bytes()};
  EXPECT_FALSE(decode_information_times(cut)->created.known);
}

TEST(Attributes, SingleOnesTruncated) {
  const Buffer b = test::sample_extended_attributes();
  for (const Attribute& whole : read(b, AttributeStop::kEnd)) {
    for_each_length(Buffer(whole.data.begin(), whole.data.end()), [&](Bytes data) {
      const Attribute a{whole.type, 1, 0, data};
      EXPECT_EQ(decode_file_times(a).has_value(), a.type == 5 && data.size() >= 8);
      EXPECT_EQ(decode_device_specification(a).has_value(), a.type == 12 && data.size() >= 12);
      EXPECT_EQ(decode_use_attribute(a).has_value(), (a.type == 2048 || a.type == 65536) && data.size() >= 36);
      if (const auto use = decode_use_attribute(a)) {
        EXPECT_LE(use->use.size(), data.size() - 36);
      }
    });
  }
}

TEST(Attributes, Stops) {
  const Buffer b = test::sample_extended_attributes();
  EXPECT_TRUE(read({}, AttributeStop::kEnd).empty());
  EXPECT_TRUE(read(Bytes(b).first(24), AttributeStop::kEnd).empty());
  EXPECT_EQ(read(b + Buffer(3), AttributeStop::kPadding).size(), 6u);
  EXPECT_EQ(read(b + Buffer(100), AttributeStop::kPadding).size(), 6u);
  EXPECT_EQ(read(b + Buffer(3, 'x'), AttributeStop::kBadLength).size(), 6u);
  EXPECT_EQ(read(Bytes(b).first(b.size() - 1), AttributeStop::kBadLength).size(), 5u);
  for (const std::uint32_t length : {0u, 11u, 0xffffffffu}) {
    const Buffer bad = Layout(60).u32(24, 5).u32(32, length).bytes();
    EXPECT_TRUE(read(bad, AttributeStop::kBadLength).empty()) << length;
  }
  const Buffer least = Layout(36).u32(24, 5).u32(32, 12).bytes();
  EXPECT_EQ(read(least, AttributeStop::kEnd).size(), 1u);
}

}  // namespace
}  // namespace lacuna::udf
