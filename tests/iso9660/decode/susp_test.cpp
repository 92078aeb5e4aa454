// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/susp.h"

#include <gtest/gtest.h>

#include "iso9660/decode/susp_entry.h"

namespace lacuna::iso9660 {
namespace {

using test::both32_bytes;
using test::Buffer;
using test::entry;
using test::expect_least;
using test::first_entry;
using test::for_each_length;
using test::from_hex;
using test::from_text;
using test::operator+;
using SuspStop = SuspReader::Stop;

std::string signatures(Bytes area, SuspStop expected, std::size_t skip = 0) {
  SuspReader reader(area, skip);
  std::string all;
  while (const auto e = reader.next()) {
    all += static_cast<char>(e->signature >> 8);
    all += static_cast<char>(e->signature & 0xff);
    EXPECT_EQ(e->whole.size(), e->length);
    EXPECT_EQ(e->data.size(), e->length - 4u);
  }
  EXPECT_EQ(reader.stop(), expected) << all;
  EXPECT_FALSE(reader.next());
  return all;
}

TEST(SuspReader, KnownGood) {
  const Buffer area = entry("AA", {}) + entry("BB", {1, 2, 3}, 7);
  EXPECT_EQ(signatures(area, SuspStop::kEnd), "AABB");
  SuspReader reader(area);
  reader.next();
  const auto e = reader.next();
  EXPECT_EQ(e->signature, susp_signature("BB"));
  EXPECT_EQ(e->version, 7);
  EXPECT_EQ(e->data[2], 3);
  // Up to three bytes may be left (4.1 note: an entry has at least four).
  EXPECT_EQ(signatures(area + Buffer{0}, SuspStop::kEnd), "AABB");
  EXPECT_EQ(signatures(area + Buffer{'X', 'Y', 9}, SuspStop::kEnd), "AABB");
}

TEST(SuspReader, Stops) {
  EXPECT_EQ(signatures({}, SuspStop::kEnd), "");
  EXPECT_EQ(signatures(entry("AA", {}) + entry("ST", {}) + entry("BB", {}), SuspStop::kTerminator), "AA");
  EXPECT_EQ(signatures(entry("AA", {}) + Buffer(40), SuspStop::kPadding), "AA");
  EXPECT_EQ(signatures(entry("AA", {}) + Buffer(40) + Buffer{1}, SuspStop::kBadLength), "AA");
  for (const int length : {0, 1, 2, 3, 9, 255}) {
    const Buffer bad = {'B', 'B', static_cast<std::uint8_t>(length), 1, 5, 6, 7, 8};
    EXPECT_EQ(signatures(entry("AA", {}) + bad, SuspStop::kBadLength), "AA") << length;
  }
}

TEST(SuspReader, Skip) {
  const Buffer area = Buffer(14, 0xee) + entry("AA", {});
  EXPECT_EQ(signatures(area, SuspStop::kEnd, 14), "AA");
  EXPECT_EQ(signatures(area, SuspStop::kEnd, 18), "");
  EXPECT_EQ(signatures(area, SuspStop::kEnd, 200), "");
}

TEST(SuspReader, MaximalEntry) { EXPECT_EQ(signatures(entry("AA", Buffer(251)), SuspStop::kEnd), "AA"); }

TEST(SuspReader, Truncated) {
  const Buffer area = entry("AA", {1, 2}) + entry("BB", {3, 4, 5});
  for_each_length(area, [&](Bytes b) {
    const bool clean = b.size() < 4 || (b.size() >= 6 && b.size() < 10) || b.size() == area.size();
    EXPECT_EQ(signatures(b, clean ? SuspStop::kEnd : SuspStop::kBadLength),
              b.size() == area.size() ? "AABB" : (b.size() >= 6 ? "AA" : ""));
  });
}

TEST(Susp, Sp) {
  const Buffer area = entry("SP", {0xbe, 0xef, 14});
  EXPECT_EQ(decode_sp(first_entry(area)), 14);
  expect_least("SP", {0xbe, 0xef, 0}, 3, decode_sp);
  EXPECT_FALSE(decode_sp(first_entry(entry("SP", {0xbe, 0xee, 0}))));
  EXPECT_FALSE(decode_sp(first_entry(entry("SP", {0xbd, 0xef, 0}))));
}

TEST(Susp, Ce) {
  Buffer data = both32_bytes(0x11223344) + both32_bytes(3000) + both32_bytes(237);
  const auto ce = decode_ce(first_entry(entry("CE", data)));
  ASSERT_TRUE(ce);
  EXPECT_EQ(ce->block.value(), 0x11223344u);
  EXPECT_EQ(ce->offset.value(), 3000u);
  EXPECT_EQ(ce->length.value(), 237u);
  expect_least("CE", data, 24, decode_ce);
  data[23] ^= 1;
  EXPECT_FALSE(decode_ce(first_entry(entry("CE", data)))->length.agree());
}

// The entry that most Rock Ridge discs carry: SUSP 5.5 with RRIP 1991A (identifier from memory).
TEST(Susp, Er) {
  const Buffer data = Buffer{10, 3, 2, 1} + from_text("RRIP_1991ADESSR");
  const Buffer area = entry("ER", data);
  const auto er = decode_er(first_entry(area));
  ASSERT_TRUE(er);
  EXPECT_EQ(as_text(er->id), "RRIP_1991A");
  EXPECT_EQ(as_text(er->descriptor), "DES");
  EXPECT_EQ(as_text(er->source), "SR");
  EXPECT_EQ(er->extension_version, 1);
  EXPECT_TRUE(is_rock_ridge(*er));
  expect_least("ER", data, data.size(), decode_er);
  const Buffer lying = entry("ER", {255, 255, 255, 1, 'A'});
  EXPECT_FALSE(decode_er(first_entry(lying)));
}

TEST(Susp, RockRidgeIdentifiers) {
  for (const auto& [id, yes] :
       {std::pair{"RRIP_1991A", true}, {"IEEE_P1282", true}, {"IEEE_1282", true}, {"RRIP_1991", false}, {"", false}}) {
    EXPECT_EQ(is_rock_ridge({1, as_bytes(id), {}, {}}), yes) << id;
  }
}

TEST(Susp, Es) {
  const Buffer area = entry("ES", {3});
  EXPECT_EQ(decode_es(first_entry(area)), 3);
  expect_least("ES", {3}, 1, decode_es);
}

TEST(Susp, InferSkip) {
  const Buffer nm = entry("NM", from_hex("00 41"));
  EXPECT_EQ(infer_skip(nm), 0);
  const Buffer xa = from_hex("00 00 00 00 0d 55 58 41 00 00 00 00 00 00");
  EXPECT_EQ(infer_skip(xa + nm), 14);
  EXPECT_EQ(infer_skip(entry("PX", Buffer(32)) + Buffer{0}), 0);
  EXPECT_EQ(infer_skip(entry("AA", {1}) + entry("TF", Buffer(15))), 0);
  EXPECT_FALSE(infer_skip(xa));
  EXPECT_FALSE(infer_skip({}));
  EXPECT_FALSE(infer_skip(entry("AA", {1})));
  EXPECT_FALSE(infer_skip(nm + from_text("what follows is no entry")));
}

}  // namespace
}  // namespace lacuna::iso9660
