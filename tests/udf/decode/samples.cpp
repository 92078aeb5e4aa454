// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/samples.h"

#include <algorithm>
#include <cassert>
#include <string>

namespace lacuna::test {
namespace {

/// Bit by bit after ECMA-167 3/7.2.6, apart from the reader's.
std::uint16_t plain_crc(const Sample& b, std::size_t from, std::size_t count) {
  std::uint16_t crc = 0;
  for (std::size_t i = from; i < from + count; ++i) {
    for (int bit = 7; bit >= 0; --bit) {
      const bool feed = ((crc >> 15) ^ (b[i] >> bit & 1)) != 0;
      crc = static_cast<std::uint16_t>(crc << 1);
      if (feed) crc ^= 0x1021;
    }
  }
  return crc;
}

unsigned get16(const Sample& b, std::size_t at) { return b[at] | static_cast<unsigned>(b[at + 1]) << 8; }

void append(Sample& to, const Sample& what) { to.insert(to.end(), what.begin(), what.end()); }

/// One extended attribute, 4/14.10.2.
Sample attribute(std::uint32_t type, const Sample& data) {
  Layout l(12 + data.size());
  l.u32(0, type).u8(4, 1).u32(8, static_cast<std::uint32_t>(12 + data.size())).put(12, data);
  return l.bytes();
}

}  // namespace

Layout& Layout::number(std::size_t at, std::uint64_t v, std::size_t width) {
  assert(at + width <= bytes_.size());
  for (std::size_t i = 0; i < width; ++i) bytes_[at + i] = static_cast<std::uint8_t>(v >> 8 * i);
  return *this;
}

Layout& Layout::text(std::size_t at, std::string_view s) {
  assert(at + s.size() <= bytes_.size());
  std::copy(s.begin(), s.end(), bytes_.begin() + static_cast<std::ptrdiff_t>(at));
  return *this;
}

Layout& Layout::put(std::size_t at, const Sample& what) {
  assert(at + what.size() <= bytes_.size());
  std::copy(what.begin(), what.end(), bytes_.begin() + static_cast<std::ptrdiff_t>(at));
  return *this;
}

Layout& Layout::dstring(std::size_t at, std::size_t field_bytes, std::string_view s) {
  return u8(at, 8).text(at + 1, s).u8(at + field_bytes - 1, static_cast<unsigned>(s.size() + 1));
}

Layout& Layout::time(std::size_t at) {
  u16(at, 1u << 12 | 120).u16(at + 2, 2004).u8(at + 4, 5).u8(at + 5, 6);
  return u8(at + 6, 7).u8(at + 7, 8).u8(at + 8, 9).u8(at + 9, 12).u8(at + 10, 34).u8(at + 11, 56);
}

Layout& Layout::icb(unsigned file_type, unsigned flags, unsigned strategy) {
  return u16(20, strategy).u16(24, 1).u8(27, file_type).u16(34, flags);
}

Sample Layout::tagged(unsigned identifier, std::uint32_t location, std::size_t crc_bytes, unsigned version) const {
  Layout l = *this;
  const auto crc_length = static_cast<unsigned>(std::min(crc_bytes, l.bytes_.size() - 16));
  l.u16(0, identifier).u16(2, version).u16(6, 1).u16(10, crc_length).u32(12, location);
  seal(l.bytes_);
  return l.bytes_;
}

void seal(Sample& b, std::size_t at) {
  const std::uint16_t crc = plain_crc(b, at + 16, get16(b, at + 10));
  b[at + 8] = static_cast<std::uint8_t>(crc);
  b[at + 9] = static_cast<std::uint8_t>(crc >> 8);
  unsigned sum = 0;
  for (std::size_t i = 0; i < 16; ++i) sum += i == 4 ? 0u : b[at + i];
  b[at + 4] = static_cast<std::uint8_t>(sum);
}

// 3/10.2
Sample sample_anchor() {
  Layout l(512);
  l.u32(16, 32768).u32(20, 32).u32(24, 32768).u32(28, 48);
  return l.tagged(2, 256);
}

// 3/10.1
Sample sample_primary_volume() {
  Layout l(512);
  l.u32(16, 7).u32(20, 0).dstring(24, 32, "Winter 2004").u16(56, 1).u16(58, 2).u16(60, 3).u16(62, 3);
  l.u32(64, 1).u32(68, 1).dstring(72, 128, "4099000100000000Winter set").charspec(200).charspec(264);
  l.regid(344, "*Some application").time(376).regid(388, "*Some writer").u16(488, 1);
  return l.tagged(1, 32);
}

// 3/10.3
Sample sample_volume_pointer() {
  Layout l(512);
  l.u32(16, 8).u32(20, 16384).u32(24, 900);
  return l.tagged(3, 33);
}

// 3/10.4, UDF 2.2.7
Sample sample_lv_info() {
  Layout l(512);
  l.u32(16, 9).regid(20, "*UDF LV Info", 0x0201).charspec(52).dstring(116, 128, "Winter");
  l.dstring(244, 36, "owner").dstring(280, 36, "house").dstring(316, 36, "post");
  l.regid(352, "*Some writer").u8(376, 4).u8(377, 5);
  return l.tagged(4, 34);
}

// 3/10.5, 4/14.3
Sample sample_partition() {
  Layout l(512);
  l.u32(16, 10).u16(20, 1).u16(22, 3).regid(24, "+NSR03");
  l.short_ad(56, 2048, 1).short_ad(64, 4096, 2).short_ad(88, 2048 | 1u << 30, 5);
  l.u32(184, 4).u32(188, 257).u32(192, 10000).regid(196, "*Some writer");
  return l.tagged(5, 35);
}

// 3/10.6, 3/10.7, UDF 2.2.8 to 2.2.10
Sample sample_logical_volume() {
  Layout l(2048);
  l.u32(16, 11).charspec(20).dstring(84, 128, "Winter").u32(212, 2048).regid(216, "*OSTA UDF Compliant", 0x0250);
  l.long_ad(248, 4096, 0, 1).u32(264, 6 + 3 * 64).u32(268, 4).regid(272, "*Some writer").u32(432, 8192).u32(436, 64);
  l.u8(440, 1).u8(441, 6).u16(442, 1).u16(444, 3);
  const std::string_view names[] = {"*UDF Virtual Partition", "*UDF Sparable Partition", "*UDF Metadata Partition"};
  for (std::size_t i = 0; i < 3; ++i) {
    const std::size_t at = 446 + i * 64;
    l.u8(at, 2).u8(at + 1, 64).regid(at + 4, names[i], 0x0250).u16(at + 36, 1).u16(at + 38, 3);
  }
  const std::size_t sparable = 446 + 64, metadata = 446 + 128;
  l.u16(sparable + 40, 32)
      .u8(sparable + 42, 2)
      .u32(sparable + 44, 4096)
      .u32(sparable + 48, 160)
      .u32(sparable + 52, 192);
  l.u32(metadata + 40, 1).u32(metadata + 44, 9000).u32(metadata + 48, 2).u32(metadata + 52, 32);
  l.u16(metadata + 56, 16).u8(metadata + 58, 1);
  return l.tagged(6, 36, 440 + 198 - 16);
}

// 3/10.8
Sample sample_unallocated_space() {
  Layout l(512);
  l.u32(16, 12).u32(20, 2).u32(24, 2048).u32(28, 100).u32(32, 4096).u32(36, 200);
  return l.tagged(7, 37);
}

// 3/10.9
Sample sample_terminating() { return Layout(512).tagged(8, 38); }

// 3/10.10, UDF 2.2.6
Sample sample_integrity() {
  Layout l(512);
  l.time(16).u32(28, 1).u32(32, 2048).u32(36, 65).u64(40, 0x123456789a).u32(72, 2).u32(76, 46);
  l.u32(80, 1234).u32(84, 0xffffffff).u32(88, 10000).u32(92, 9000);
  l.regid(96, "*Some writer").u32(128, 77).u32(132, 8).u16(136, 0x0201).u16(138, 0x0250).u16(140, 0x0260);
  return l.tagged(9, 64);
}

// UDF 2.2.12
Sample sample_sparing_table() {
  Layout l(2048);
  l.regid(16, "*UDF Sparing Table", 0x0201).u16(48, 3).u32(52, 4);
  l.u32(56, 64).u32(60, 700).u32(64, 0xfffffff0).u32(68, 732).u32(72, 0xffffffff).u32(76, 764);
  return l.tagged(0, 80);
}

// UDF 1.50 2.2.10
Sample sample_vat_150() {
  Layout l(5 * 4 + 36);
  l.u32(0, 10).u32(4, 11).u32(8, 0xffffffff).u32(12, 13).u32(16, 14);
  l.regid(20, "*UDF Virtual Alloc Tbl", 0x0150).u32(52, 77);
  return l.bytes();
}

// UDF 2.60 2.2.11
Sample sample_vat_200() {
  Layout l(152 + 8 + 3 * 4);
  l.u16(0, 160).u16(2, 8).dstring(4, 128, "Winter").u32(132, 77).u32(136, 20).u32(140, 0xffffffff);
  l.u16(144, 0x0150).u16(146, 0x0200).u16(148, 0x0201).text(152, "use");
  l.u32(160, 20).u32(164, 0xffffffff).u32(168, 22);
  return l.bytes();
}

// 4/14.1
Sample sample_file_set() {
  Layout l(512);
  l.time(16).u16(28, 3).u16(30, 3).u32(40, 1).u32(44, 2).charspec(48).dstring(112, 128, "Winter").charspec(240);
  l.dstring(304, 32, "Pictures").dstring(336, 32, "COPYING").dstring(368, 32, "ABSTRACT");
  l.long_ad(400, 2048, 4, 1).regid(416, "*OSTA UDF Compliant", 0x0250).long_ad(448, 2048, 90).long_ad(464, 2048, 6, 1);
  return l.tagged(0x100, 0);
}

// 4/14.7
Sample sample_indirect_entry() {
  Layout l(2048);
  l.icb(3, 0, 4096).long_ad(36, 4096, 9);
  return l.tagged(0x103, 5);
}

// 4/14.8
Sample sample_terminal_entry() {
  Layout l(2048);
  l.icb(11, 0, 4096);
  return l.tagged(0x104, 6);
}

// 4/14.9
Sample sample_file_entry() {
  Layout l(2048);
  // Permissions: the owner may write and read, group and others read; setgid in the flags.
  l.icb(5, 0x80).u32(36, 1000).u32(40, 100).u32(44, 4 | 4 << 5 | 6 << 10).u16(48, 2).u64(56, 5000).u64(64, 3);
  l.time(72).time(84).time(96).u32(108, 1).long_ad(112, 2048, 50).regid(128, "*Some writer").u64(160, 17);
  l.u32(168, 0).u32(172, 16).short_ad(176, 4096, 20).short_ad(184, 904, 30);
  return l.tagged(0x105, 7);
}

// 4/14.17
Sample sample_extended_file_entry() {
  const Sample attributes = sample_extended_attributes();
  Layout l(2048);
  const auto attributes_bytes = static_cast<std::uint32_t>(attributes.size());
  l.icb(5, 3 | 0x140).u32(36, 0xffffffff).u32(40, 0xffffffff).u32(44, 0x7fff).u16(48, 1).u64(56, 11).u64(64, 111);
  l.time(80).time(92).time(104).time(116).u32(128, 1).long_ad(152, 2048, 51, 1).regid(168, "*Some writer");
  l.u64(200, 0x100000012).u32(208, attributes_bytes).u32(212, 11).put(216, attributes);
  l.text(216 + attributes.size(), "hello world");
  return l.tagged(0x10a, 8, ~std::size_t{0}, 3);
}

// 4/14.11
Sample sample_unallocated_space_entry() {
  Layout l(2048);
  l.icb(1, 0).u32(36, 16).short_ad(40, 2048 | 1u << 30, 60).short_ad(48, 4096 | 1u << 30, 70);
  return l.tagged(0x107, 10);
}

// 4/14.12
Sample sample_space_bitmap() {
  Layout l(2048);
  l.u32(16, 100).u32(20, 13);
  for (std::size_t at = 24; at < 37; ++at) l.u8(at, 0x81);
  return l.tagged(0x108, 11, 8);
}

// 4/14.5
Sample sample_allocation_extent() {
  Layout l(2048);
  l.u32(16, 3).u32(20, 32).long_ad(24, 2048, 80, 1).long_ad(40, 2048 | 3u << 30, 13, 1).u16(50, 1);
  return l.tagged(0x102, 12);
}

// 4/14.4
Sample fid(std::string_view name, unsigned characteristics, std::uint32_t icb_block, std::uint32_t location,
           std::size_t use_bytes) {
  const std::size_t bytes = 38 + use_bytes + name.size();
  Layout l((bytes + 3) / 4 * 4);
  l.u16(16, 1).u8(18, characteristics).u8(19, static_cast<unsigned>(name.size())).long_ad(20, 2048, icb_block, 1);
  l.u32(32, icb_block + 1000).u16(36, static_cast<unsigned>(use_bytes));
  if (use_bytes >= 32) l.regid(38, "*Some writer");
  l.text(38 + use_bytes, name);
  return l.tagged(0x101, location);
}

Sample sample_directory() {
  Sample all = fid("", 0x0a, 4, 13);
  append(all, fid("\x08notes.txt", 0x01, 7, 13));
  append(all, fid(std::string_view("\x10\x00\xe4\x30\x42", 5), 0x02, 15, 13, 32));
  append(all, fid("\xfe"
                  "gone",
                  0x04, 16, 13));
  return all;
}

// 4/14.10
Sample sample_extended_attributes() {
  Layout times(8 + 2 * 12);
  times.u32(0, 24).u32(4, 1 | 1 << 5).time(8).time(20);  // created, backed up
  Layout information(8 + 12);
  information.u32(0, 12).u32(4, 1 << 1).time(8);  // modified
  Layout device(12 + 32);
  device.u32(0, 32).u32(4, 8).u32(8, 17).regid(12, "*Some writer");
  Layout use(4 + 32 + 4);
  use.u32(0, 4).regid(4, "*UDF FreeEASpace");
  Layout vat(4 + 32 + 148);
  vat.u32(0, 148)
      .regid(4, "*UDF VAT LVExtension", 0x0150)
      .u64(38, 99)
      .u32(46, 20)
      .u32(50, 3)
      .dstring(54, 128, "Winter");
  Layout application(4 + 32);
  application.regid(4, "*Some application");

  Layout header(24);
  Sample all(24);
  append(all, attribute(5, times.bytes()));
  append(all, attribute(6, information.bytes()));
  append(all, attribute(12, device.bytes()));
  header.u32(16, static_cast<std::uint32_t>(all.size()));
  append(all, attribute(2048, use.bytes()));
  append(all, attribute(2048, vat.bytes()));
  header.u32(20, static_cast<std::uint32_t>(all.size()));
  append(all, attribute(65536, application.bytes()));
  const Sample sealed = header.tagged(0x106, 8);
  std::copy(sealed.begin(), sealed.end(), all.begin());
  return all;
}

// 4/14.16
Sample sample_path() {
  const std::string_view path(
      "\x02\0\0\0"
      "\x03\0\0\0"
      "\x05\x02\0\0\x08\xe4"
      "\x04\0\0\0"
      "\x05\x03\0\0\x10\0x",
      25);
  return {path.begin(), path.end()};
}

}  // namespace lacuna::test
