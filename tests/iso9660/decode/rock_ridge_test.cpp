// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/rock_ridge.h"

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

TEST(RockRidge, Px) {
  const Buffer old_form = both32_bytes(0100644) + both32_bytes(2) + both32_bytes(1000) + both32_bytes(100);
  auto px = decode_px(first_entry(entry("PX", old_form)));
  ASSERT_TRUE(px);
  EXPECT_EQ(px->mode.value(), 0100644u);
  EXPECT_EQ(px->links.value(), 2u);
  EXPECT_EQ(px->user.value(), 1000u);
  EXPECT_EQ(px->group.value(), 100u);
  EXPECT_FALSE(px->serial);
  EXPECT_TRUE(px->agree());
  expect_least("PX", old_form + both32_bytes(5), 32, decode_px);

  Buffer new_form = old_form + both32_bytes(77);
  px = decode_px(first_entry(entry("PX", new_form)));
  ASSERT_TRUE(px && px->serial);
  EXPECT_EQ(px->serial->value(), 77u);
  for (std::size_t at = 0; at < new_form.size(); at += 8) {
    Buffer b = new_form;
    b[at] ^= 1;
    EXPECT_FALSE(decode_px(first_entry(entry("PX", b)))->agree()) << at;
  }
}

TEST(RockRidge, Pn) {
  const Buffer data = both32_bytes(8) + both32_bytes(0x11);
  const auto pn = decode_pn(first_entry(entry("PN", data)));
  EXPECT_EQ(pn->high.value(), 8u);
  EXPECT_EQ(pn->low.value(), 0x11u);
  expect_least("PN", data, 16, decode_pn);
}

TEST(RockRidge, Relocation) {
  EXPECT_EQ(decode_cl(first_entry(entry("CL", both32_bytes(99))))->value(), 99u);
  EXPECT_EQ(decode_pl(first_entry(entry("PL", both32_bytes(98))))->value(), 98u);
  expect_least("CL", both32_bytes(1), 8, decode_cl);
  expect_least("PL", both32_bytes(1), 8, decode_pl);
  EXPECT_TRUE(is_re(first_entry(entry("RE", {}))));
  EXPECT_FALSE(is_re(first_entry(entry("RR", {0}))));
}

TEST(RockRidge, TfShortForm) {
  const Buffer one = from_hex("68 05 06 07 08 09 00"), two = from_hex("69 05 06 07 08 09 00");
  const Buffer data = Buffer{0x0a} + one + two;  // modified, attributes changed
  const auto tf = decode_tf(first_entry(entry("TF", data)));
  ASSERT_TRUE(tf);
  EXPECT_EQ(tf->recorded, 0x0a);
  EXPECT_EQ(tf->undecodable, 0);
  EXPECT_EQ(to_iso8601(tf->stamps[FileTimes::kModified]), "2004-05-06T07:08:09+00:00");
  EXPECT_EQ(to_iso8601(tf->stamps[FileTimes::kAttributesChanged]), "2005-05-06T07:08:09+00:00");
  EXPECT_FALSE(tf->stamps[FileTimes::kCreated].known);
}

TEST(RockRidge, TfAllSevenInBothForms) {
  Buffer short_form = {0x7f}, long_form = {0xff};
  for (int i = 0; i < 7; ++i) {
    short_form = short_form + Buffer{static_cast<std::uint8_t>(100 + i)} + from_hex("01 02 03 04 05 00");
    long_form = long_form + from_text("200" + std::to_string(i) + "010203040500") + Buffer{0};
  }
  for (const Buffer& data : {short_form, long_form}) {
    const auto tf = decode_tf(first_entry(entry("TF", data)));
    ASSERT_TRUE(tf);
    EXPECT_EQ(tf->recorded, 0x7f);
    EXPECT_EQ(tf->undecodable, 0);
    for (std::size_t i = 0; i < 7; ++i) {
      EXPECT_EQ(to_iso8601(tf->stamps[i]), "200" + std::to_string(i) + "-01-02T03:04:05+00:00");
    }
  }
}

TEST(RockRidge, TfTruncated) {
  const Buffer stamp = from_hex("68 05 06 07 08 09 00");
  for_each_length(Buffer{0x07} + stamp + stamp + stamp, [](Bytes b) {
    const Buffer e = entry("TF", Buffer(b.begin(), b.end()));
    const auto tf = decode_tf(first_entry(e));
    ASSERT_EQ(tf.has_value(), !b.empty());
    if (!tf) return;
    const std::size_t fit = (b.size() - 1) / 7;
    for (std::size_t i = 0; i < 3; ++i) {
      EXPECT_EQ(tf->stamps[i].known, i < fit);
      EXPECT_EQ((tf->undecodable >> i & 1) != 0, i >= fit);
    }
  });
}

TEST(RockRidge, TfBadDateLeavesTheOthers) {
  const auto tf = decode_tf(first_entry(entry(
      "TF", Buffer{0x07} + from_hex("68 05 06 07 08 09 00 68 0d 06 07 08 09 00") + from_hex("00 00 00 00 00 00 00"))));
  EXPECT_TRUE(tf->stamps[0].known);
  EXPECT_EQ(tf->undecodable, 2);
  EXPECT_FALSE(tf->stamps[2].known);
}

TEST(RockRidge, Sf) {
  auto sf = decode_sf(first_entry(entry("SF", both32_bytes(0x80000001))));
  ASSERT_TRUE(sf);
  EXPECT_EQ(sf->plain_bytes, 0x80000001u);
  EXPECT_EQ(sf->table_depth, 0);
  sf = decode_sf(first_entry(entry("SF", both32_bytes(2) + both32_bytes(3) + Buffer{4})));
  EXPECT_EQ(sf->plain_bytes, 0x200000003u);
  EXPECT_EQ(sf->table_depth, 4);
  EXPECT_TRUE(sf->agree);
  Buffer b = both32_bytes(2) + both32_bytes(3) + Buffer{4};
  b[15] ^= 1;
  EXPECT_FALSE(decode_sf(first_entry(entry("SF", b)))->agree);
  expect_least("SF", both32_bytes(2) + both32_bytes(3) + Buffer{4}, 8, decode_sf);
}

TEST(RockRidge, Rr) {
  EXPECT_EQ(decode_rr(first_entry(entry("RR", {0x89}))), 0x89);
  expect_least("RR", {1}, 1, decode_rr);
}

// --- NM

Buffer nm(std::uint8_t flags, std::string_view text) { return entry("NM", Buffer{flags} + from_text(text)); }

TEST(NameBuilder, OneEntry) {
  NameBuilder name;
  EXPECT_TRUE(name.empty());
  EXPECT_FALSE(name.complete());
  name.add(first_entry(nm(0, "Harbour 1999.mov")));
  EXPECT_EQ(as_text(name.text()), "Harbour 1999.mov");
  EXPECT_TRUE(name.complete());
  EXPECT_FALSE(name.empty());
  EXPECT_EQ(name.problems(), 0u);
  name.clear();
  EXPECT_TRUE(name.empty());
  EXPECT_FALSE(name.complete());
}

TEST(NameBuilder, Continued) {
  NameBuilder name;
  name.add(first_entry(nm(1, "one ")));
  EXPECT_FALSE(name.complete());
  name.add(first_entry(nm(1, "two ")));
  name.add(first_entry(nm(0, "three")));
  EXPECT_TRUE(name.complete());
  EXPECT_EQ(as_text(name.text()), "one two three");
  EXPECT_EQ(name.problems(), 0u);
  name.add(first_entry(nm(0, "four")));
  EXPECT_EQ(as_text(name.text()), "one two three");
  EXPECT_EQ(name.problems(), rrip_text_problem::kAfterEnd);
}

TEST(NameBuilder, Flags) {
  NameBuilder name;
  name.add(first_entry(nm(2, "")));
  EXPECT_TRUE(name.is_self());
  EXPECT_FALSE(name.empty());
  name.clear();
  EXPECT_FALSE(name.is_self());
  name.add(first_entry(nm(4, "")));
  EXPECT_TRUE(name.is_parent());
  name.clear();
  name.add(first_entry(nm(0x20, "")));
  EXPECT_EQ(name.problems(), rrip_text_problem::kHost);
  EXPECT_TRUE(name.empty());
  name.clear();
  name.add(first_entry(nm(0x40, "a")));
  EXPECT_EQ(name.problems(), rrip_text_problem::kUnknownFlags);
}

TEST(NameBuilder, EntryWithoutFlags) {
  NameBuilder name;
  name.add(first_entry(entry("NM", {})));
  EXPECT_EQ(name.problems(), rrip_text_problem::kShort);
  EXPECT_FALSE(name.complete());
}

TEST(NameBuilder, IsBounded) {
  NameBuilder name;
  const Buffer e = nm(1, std::string(250, 'x'));
  for (int i = 0; i < 300; ++i) name.add(first_entry(e));
  EXPECT_EQ(name.text().size(), kMaxRripText);
  EXPECT_EQ(name.problems(), rrip_text_problem::kTooLong);
}

// --- SL

Buffer component(std::uint8_t flags, std::string_view text = "") {
  return Buffer{flags, static_cast<std::uint8_t>(text.size())} + from_text(text);
}
Buffer sl(std::uint8_t flags, const Buffer& components) { return entry("SL", Buffer{flags} + components); }

std::string target(const Buffer& components, std::uint32_t problems = 0) {
  SymlinkBuilder link;
  link.add(first_entry(sl(0, components)));
  EXPECT_EQ(link.problems(), problems);
  EXPECT_TRUE(link.complete());
  return std::string(as_text(link.text()));
}

// RRIP 4.1.3.1: every kind of component.
TEST(SymlinkBuilder, Components) {
  EXPECT_EQ(target(component(0, "file")), "file");
  EXPECT_EQ(target(component(0, "usr") + component(0, "bin")), "usr/bin");
  EXPECT_EQ(target(component(8) + component(0, "usr") + component(0, "bin")), "/usr/bin");
  EXPECT_EQ(target(component(8)), "/");
  EXPECT_EQ(target(component(4) + component(4) + component(0, "a")), "../../a");
  EXPECT_EQ(target(component(2) + component(0, "a")), "./a");
  EXPECT_EQ(target(component(2)), ".");
  EXPECT_EQ(target(component(0, "a") + component(4) + component(2) + component(0, "b")), "a/.././b");
  EXPECT_EQ(target(component(1, "long") + component(0, "name") + component(0, "x")), "longname/x");
  EXPECT_EQ(target(component(0, "a") + component(0, "")), "a/");
}

TEST(SymlinkBuilder, ComponentsThatNoPathCanSay) {
  EXPECT_EQ(target(component(0x10) + component(0, "a"), rrip_text_problem::kVolumeRoot), "/a");
  EXPECT_EQ(target(component(8) + component(0, "net") + component(0x20) + component(0, "a"), rrip_text_problem::kHost),
            "/net/a");
  EXPECT_EQ(target(component(0, "a") + component(8) + component(0, "b"), rrip_text_problem::kRootInside), "a/b");
  EXPECT_EQ(target(component(0x40, "a"), rrip_text_problem::kUnknownFlags), "a");
}

TEST(SymlinkBuilder, SeveralEntries) {
  SymlinkBuilder link;
  EXPECT_TRUE(link.empty());
  link.add(first_entry(sl(1, component(8) + component(0, "usr") + component(1, "sha"))));
  EXPECT_FALSE(link.complete());
  link.add(first_entry(sl(1, component(1, "re/"))));
  link.add(first_entry(sl(0, component(0, "d") + component(0, "doc"))));
  EXPECT_TRUE(link.complete());
  EXPECT_EQ(as_text(link.text()), "/usr/share/d/doc");
  EXPECT_EQ(link.problems(), 0u);
  link.add(first_entry(sl(0, component(0, "more"))));
  EXPECT_EQ(as_text(link.text()), "/usr/share/d/doc");
  EXPECT_EQ(link.problems(), rrip_text_problem::kAfterEnd);
  link.clear();
  EXPECT_TRUE(link.empty());
  EXPECT_TRUE(link.text().empty());
}

TEST(SymlinkBuilder, Incomplete) {
  SymlinkBuilder link;
  EXPECT_FALSE(link.complete());
  link.add(first_entry(sl(0, component(1, "open"))));
  EXPECT_FALSE(link.complete());
  link.clear();
  link.add(first_entry(entry("SL", {})));
  EXPECT_EQ(link.problems(), rrip_text_problem::kShort);
  EXPECT_FALSE(link.complete());
}

TEST(SymlinkBuilder, Truncated) {
  const Buffer components = component(0, "abc") + component(0, "de");
  for_each_length(components, [&](Bytes b) {
    SymlinkBuilder link;
    link.add(first_entry(sl(0, Buffer(b.begin(), b.end()))));
    const bool clean = b.empty() || b.size() == 5 || b.size() == 9;
    // A single zero byte left over is taken as padding.
    const bool padded = b.size() == 1 || b.size() == 6;
    EXPECT_EQ(link.problems(), clean || padded ? 0 : rrip_text_problem::kComponent);
    EXPECT_EQ(link.complete(), clean || padded);
  });
}

TEST(SymlinkBuilder, IsBounded) {
  SymlinkBuilder link;
  const Buffer e = sl(1, component(0, std::string(240, 'x')));
  for (int i = 0; i < 300; ++i) link.add(first_entry(e));
  EXPECT_EQ(link.text().size(), kMaxRripText);
  EXPECT_EQ(link.problems(), rrip_text_problem::kTooLong);
  link.add(first_entry(sl(0, component(0, "end"))));
  EXPECT_FALSE(link.complete());
}

}  // namespace
}  // namespace lacuna::iso9660
