// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/identifier.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"

namespace lacuna::iso9660 {
namespace {

using test::Buffer;
using test::operator+;

struct Split {
  std::string_view id, base, name, extension;
  int version;
};

// ECMA-119 7.5.
constexpr Split kSplits[] = {
    {"README.TXT;1", "README.TXT", "README", "TXT", 1},
    {"README.;1", "README", "README", "", 1},
    {"README.TXT", "README.TXT", "README", "TXT", 0},
    {"README", "README", "README", "", 0},
    {".TXT;1", ".TXT", "", "TXT", 1},
    {"A.B;32767", "A.B", "A", "B", 32767},
    {"A.B;00007", "A.B", "A", "B", 7},
    {"A.TAR.GZ;3", "A.TAR.GZ", "A.TAR", "GZ", 3},
    {"A..;1", "A.", "A", "", 1},
    {"a;b.c;2", "a;b.c", "a;b", "c", 2},
    // Not version numbers.
    {"A.B;32768", "A.B;32768", "A", "B;32768", 0},
    {"A.B;0", "A.B;0", "A", "B;0", 0},
    {"A.B;", "A.B;", "A", "B;", 0},
    {"A.B;1X", "A.B;1X", "A", "B;1X", 0},
    {"A.B;99999999999999999999", "A.B;99999999999999999999", "A", "B;99999999999999999999", 0},
    // Never made empty.
    {";1", ";1", ";1", "", 0},
    {".;1", ".", "", "", 1},
    {"", "", "", "", 0},
};

TEST(Identifier, Split) {
  for (const Split& c : kSplits) {
    SCOPED_TRACE(c.id);
    const FileIdentifier f = split_identifier(as_bytes(c.id));
    EXPECT_EQ(as_text(f.base), c.base);
    EXPECT_EQ(as_text(f.name), c.name);
    EXPECT_EQ(as_text(f.extension), c.extension);
    EXPECT_EQ(f.version, c.version);
  }
  EXPECT_EQ(as_text(split_identifier(as_bytes("README.")).base), "README");
  EXPECT_EQ(as_text(split_identifier(as_bytes(".")).base), ".");
}

Buffer widen(std::string_view text) {
  Buffer b;
  for (const char c : text) b.insert(b.end(), {0, static_cast<std::uint8_t>(c)});
  return b;
}

TEST(Identifier, SplitUcs2TheSame) {
  for (const Split& c : kSplits) {
    SCOPED_TRACE(c.id);
    const Buffer id = widen(c.id);
    const FileIdentifier f = split_identifier_ucs2(id);
    EXPECT_EQ(as_text(f.base), as_text(widen(c.base)));
    EXPECT_EQ(as_text(f.name), as_text(widen(c.name)));
    EXPECT_EQ(as_text(f.extension), as_text(widen(c.extension)));
    EXPECT_EQ(f.version, c.version);
  }
}

TEST(Identifier, Ucs2DotOfANameWithoutVersionStays) {
  const Buffer id = widen("etc.");
  EXPECT_EQ(as_text(split_identifier_ucs2(id).base), as_text(id));
}

// U+3B31 and U+2E00 hold the bytes of ';', '1' and '.' in other places.
TEST(Identifier, Ucs2UnitsAreNotBytes) {
  const Buffer id = {0x3b, 0x31, 0x2e, 0x00, 0x00, 0x41};
  const FileIdentifier f = split_identifier_ucs2(id);
  EXPECT_EQ(f.base.size(), 6u);
  EXPECT_EQ(f.name.size(), 6u);
  EXPECT_EQ(f.version, 0);
}

TEST(Identifier, Ucs2OfOddLengthIsNotSplit) {
  const Buffer id = widen("A.B;1") + Buffer{0};
  const FileIdentifier f = split_identifier_ucs2(id);
  EXPECT_EQ(f.base.size(), id.size());
  EXPECT_EQ(f.name.size(), id.size());
  EXPECT_EQ(f.version, 0);
}

}  // namespace
}  // namespace lacuna::iso9660
