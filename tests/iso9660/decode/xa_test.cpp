// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/xa.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::iso9660 {
namespace {

using test::for_each_length;
using test::from_hex;

// Layout as in libcdio's xa.h.
TEST(Xa, KnownGood) {
  const auto b = from_hex("00 0b 00 16 11 55 58 41 07 00 00 00 00 00 ff");
  const auto a = decode_xa(b);
  ASSERT_TRUE(a);
  EXPECT_EQ(a->group, 11);
  EXPECT_EQ(a->user, 22);
  EXPECT_EQ(a->attributes, 0x1155);
  EXPECT_TRUE((a->attributes & xa_attribute::kForm2) != 0);
  EXPECT_EQ(a->file_number, 7);
  EXPECT_TRUE(a->reserved_zero);
}

TEST(Xa, Truncated) {
  for_each_length(from_hex("00 00 00 00 0d 55 58 41 00 00 00 00 00 00"),
                  [](Bytes b) { EXPECT_EQ(decode_xa(b).has_value(), b.size() == kXaBytes); });
}

TEST(Xa, Violations) {
  EXPECT_FALSE(decode_xa(from_hex("00 00 00 00 0d 55 58 42 00 00 00 00 00 00")));
  EXPECT_FALSE(decode_xa(from_hex("00 00 00 00 0d 55 58 41 00 00 00 00 00 01"))->reserved_zero);
}

}  // namespace
}  // namespace lacuna::iso9660
