// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/file_set.h"

#include <gtest/gtest.h>

#include "iso9660/decode/bytes_of.h"
#include "udf/decode/cs0.h"
#include "udf/decode/samples.h"

namespace lacuna::udf {
namespace {

using test::Buffer;

TEST(FileSet, Decodes) {
  const Buffer b = test::sample_file_set();
  const auto s = decode_file_set(b);
  ASSERT_TRUE(s);
  EXPECT_TRUE(check_tag(b, 0, s->bytes).fine());
  EXPECT_EQ(to_iso8601(s->recorded), test::kSampleTime);
  EXPECT_EQ(s->interchange_level, 3);
  EXPECT_EQ(s->number, 1u);
  EXPECT_EQ(s->descriptor_number, 2u);
  EXPECT_EQ(dstring_display(s->logical_volume_id), "Winter");
  EXPECT_EQ(s->logical_volume_id.size(), 128u);
  for (const Bytes id : {s->file_set_id, s->copyright_id, s->abstract_id}) EXPECT_EQ(id.size(), 32u);
  EXPECT_EQ(dstring_display(s->file_set_id), "Pictures");
  EXPECT_EQ(dstring_display(s->copyright_id), "COPYING");
  EXPECT_EQ(dstring_display(s->abstract_id), "ABSTRACT");
  EXPECT_EQ(s->root.location, (LbAddr{4, 1}));
  EXPECT_EQ(s->domain.revision(), 0x0250);
  EXPECT_EQ(s->next.location.block, 90u);
  EXPECT_EQ(s->streams.location, (LbAddr{6, 1}));
  EXPECT_EQ(s->problems, 0u);
}

TEST(FileSet, Nothing) {
  test::for_each_length(test::sample_file_set(),
                        [](Bytes b) { EXPECT_EQ(decode_file_set(b).has_value(), b.size() >= 480); });
  EXPECT_FALSE(decode_file_set(test::sample_file_entry()));
}

TEST(FileSet, Problems) {
  const auto with = [](std::size_t at, std::uint8_t value) {
    Buffer b = test::sample_file_set();
    b[at] = value;
    return decode_file_set(b)->problems;
  };
  EXPECT_EQ(with(20, 0), file_set_problem::kTime);
  EXPECT_EQ(with(48, 1), file_set_problem::kCharspec);
  EXPECT_EQ(with(240, 1), file_set_problem::kCharspec);
  EXPECT_EQ(with(112, 1), file_set_problem::kText);
  EXPECT_EQ(with(335, 99), file_set_problem::kText);
  EXPECT_EQ(with(401, 0), file_set_problem::kRoot);
  EXPECT_EQ(with(417, 'o'), file_set_problem::kDomain);
}

}  // namespace
}  // namespace lacuna::udf
