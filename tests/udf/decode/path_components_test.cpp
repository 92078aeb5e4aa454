// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/path_components.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;
using test::from_hex;

void expect(const Buffer& content, const std::string& path, std::uint32_t problems = 0) {
  const SymlinkTarget t = decode_symlink_target(content);
  EXPECT_EQ(t.path, path);
  EXPECT_EQ(t.problems, problems) << path;
}

TEST(SymlinkTarget, AllKinds) { expect(test::sample_path(), "/../\u00e4/./x"); }

TEST(SymlinkTarget, Relative) {
  expect(from_hex("05 02 00 00 08 61"), "a");
  expect(from_hex("05 02 00 00 08 61  05 03 00 00 08 62 63"), "a/bc");
  expect(from_hex("03 00 00 00  03 00 00 00  05 02 00 00 08 61"), "../../a");
  expect(from_hex("04 00 00 00"), ".");
}

TEST(SymlinkTarget, Roots) {
  expect(from_hex("02 00 00 00"), "/");
  expect(from_hex("01 00 00 00  05 02 00 00 08 61"), "/a");
  expect(from_hex("02 02 00 00 08 61  05 02 00 00 08 62"), "/b");
  expect(from_hex("01 03 00 00 08 43 3A  05 02 00 00 08 61"), "C:/a", path_problem::kNamedRoot);
  expect(from_hex("05 02 00 00 08 61  02 00 00 00  05 02 00 00 08 62"), "/b", path_problem::kRootInside);
}

TEST(SymlinkTarget, NamesCantBreakOut) {
  expect(from_hex("05 04 00 00 08 61 2F 62"), "a%2Fb");
  expect(from_hex("05 05 00 00 10 00 2F 00 61"), "%2Fa");
  expect(from_hex("05 02 00 00 08 00"), "%00");
}

TEST(SymlinkTarget, Damage) {
  expect({}, "", path_problem::kEmpty);
  expect(from_hex("05 09 00 00 08 61"), "", path_problem::kOverrun | path_problem::kEmpty);
  expect(from_hex("05 02 00 00 08 61  05 09 00 00 08"), "a", path_problem::kOverrun);
  expect(from_hex("05 02 00 00 08 61  05 00"), "a", path_problem::kOverrun);
  expect(from_hex("00 00 00 00  06 01 00 00 FF  05 02 00 00 08 61"), "a", path_problem::kReserved);
  expect(from_hex("05 00 00 00  05 01 00 00 08"), "", path_problem::kEmptyName);
  expect(from_hex("05 02 00 00 41 42"), "AB", path_problem::kCompression);
  expect(from_hex("05 02 00 00 FE 42"), "B", path_problem::kCompression);
}

TEST(SymlinkTarget, Truncated) {
  test::for_each_length(test::sample_path(), [](Bytes b) {
    const SymlinkTarget t = decode_symlink_target(b);
    const bool at_border = b.size() == 0 || b.size() == 4 || b.size() == 8 || b.size() == 14 || b.size() == 18 ||
                           b.size() == test::sample_path().size();
    EXPECT_EQ((t.problems & path_problem::kOverrun) == 0, at_border);
  });
}

TEST(PathComponent, Version) {
  const Buffer b = from_hex("05 02 34 12 08 61");
  PathComponentReader reader(b);
  const auto c = reader.next();
  EXPECT_EQ(c->type, 5);
  EXPECT_EQ(c->version, 0x1234);
  EXPECT_EQ(c->identifier.size(), 2u);
  EXPECT_FALSE(reader.next());
  EXPECT_EQ(reader.stop(), PathComponentReader::Stop::kEnd);
}

}  // namespace
}  // namespace lacuna::udf
