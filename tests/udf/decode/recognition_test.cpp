// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/recognition.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::from_text;
using test::operator+;

TEST(Recognition, EachIdentifier) {
  using Kind = VolumeStructureKind;
  const std::pair<const char*, Kind> cases[] = {
      {"BEA01", Kind::kBeginning}, {"NSR02", Kind::kNsr02}, {"NSR03", Kind::kNsr03}, {"TEA01", Kind::kTerminating},
      {"BOOT2", Kind::kBoot},      {"CD001", Kind::kCd001}, {"CDW02", Kind::kCdw02}};
  for (const auto& [identifier, kind] : cases) {
    const auto s = decode_volume_structure(Buffer{0} + from_text(identifier) + Buffer{1} + Buffer(2041));
    ASSERT_TRUE(s) << identifier;
    EXPECT_EQ(s->kind, kind);
    EXPECT_TRUE(s->conforming);
    EXPECT_EQ(s->version, 1);
  }
}

TEST(Recognition, TypeAndVersion) {
  EXPECT_FALSE(decode_volume_structure(Buffer{1} + from_text("NSR02") + Buffer{1})->conforming);
  EXPECT_FALSE(decode_volume_structure(Buffer{0} + from_text("NSR02") + Buffer{2})->conforming);
  const auto iso = decode_volume_structure(Buffer{255} + from_text("CD001") + Buffer{1});
  EXPECT_TRUE(iso->conforming);  // a set terminator, which ECMA-119 judges
  EXPECT_EQ(iso->type, 255);
}

TEST(Recognition, Nothing) {
  test::for_each_length(Buffer{0} + from_text("BEA01") + Buffer{1},
                        [](Bytes b) { EXPECT_EQ(decode_volume_structure(b).has_value(), b.size() == 7); });
  EXPECT_FALSE(decode_volume_structure(Buffer(2048)));
  EXPECT_FALSE(decode_volume_structure(Buffer{0} + from_text("NSR01") + Buffer{1}));
}

}  // namespace
}  // namespace lacuna::udf
