// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/spool.h"

#include <gtest/gtest.h>

#include "combine/twin_box.h"
#include "combine/twin_bytes.h"
#include "support/authoring.h"

namespace lacuna::test {
namespace {

std::vector<std::uint8_t> bytes_of(const std::string& s) { return {s.begin(), s.end()}; }

TEST(Spool, GivesBackWhatItKeptAndLeavesNoNameBehind) {
  const ScratchFolder folder;
  Spool spool(folder.path());
  const auto a = bytes_of(noise(5000, 1)), b = bytes_of(noise(70, 2));
  const auto kept_a = spool.keep(a), kept_b = spool.keep(b);
  ASSERT_TRUE(kept_a.ok() && kept_b.ok());
  std::vector<std::uint8_t> out(5000);
  EXPECT_TRUE(spool.read(*kept_a, out));
  EXPECT_EQ(out, a);
  EXPECT_TRUE(std::filesystem::is_empty(folder.path()));
  Spool::Stretch changed = *kept_b;
  ++changed.check_low;
  out.resize(70);
  EXPECT_TRUE(spool.read(*kept_b, out));
  EXPECT_FALSE(spool.read(changed, out)) << "bytes that are not those that were kept";
  EXPECT_FALSE(spool.read(*kept_a, out)) << "another length";
}

TEST(Spool, ZerosNeedNoRoom) {
  Spool spool("/no/such/folder");
  const std::vector<std::uint8_t> zeros(3000);
  const auto kept = spool.keep(zeros);
  ASSERT_TRUE(kept.ok());
  std::vector<std::uint8_t> out(3000, 1);
  EXPECT_TRUE(spool.read(*kept, out));
  EXPECT_EQ(out, zeros);
}

TEST(TwinBytes, KeepsEachByteOnceAndSeesContradictions) {
  Spool spool({});
  TwinBytes kept;
  const auto all = bytes_of(noise(300'000, 1));
  const auto part = [&](std::size_t first, std::size_t end) { return std::span(all).subspan(first, end - first); };
  ASSERT_TRUE(kept.keep(spool, 100'000, part(100'000, 200'000)).ok());
  EXPECT_EQ(kept.settle().total(), 100'000u);
  ASSERT_TRUE(kept.keep(spool, 50'000, part(50'000, 250'000)).ok());
  EXPECT_EQ(kept.settle(), RangeSet::from_unsorted({{50'000, 100'000}, {200'000, 250'000}}));
  EXPECT_EQ(kept.contradiction(spool, 0, all), std::nullopt);
  std::vector<std::uint8_t> out(150'001);
  EXPECT_TRUE(kept.read(spool, 60'001, out));
  EXPECT_TRUE(std::equal(out.begin(), out.end(), all.begin() + 60'001));
  EXPECT_FALSE(kept.read(spool, 49'999, out));
  auto other = all;
  other[123'456] ^= 1;
  other[10] ^= 1;  // which is not kept
  EXPECT_EQ(kept.contradiction(spool, 0, other), 123'456u);
}

}  // namespace
}  // namespace lacuna::test
