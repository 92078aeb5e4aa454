// SPDX-License-Identifier: GPL-3.0-or-later
// Basic types and the file structures (ECMA-167 parts 1 and 4).
#include "support/udf_builder_descriptors.h"

#include <algorithm>
#include <stdexcept>

namespace lacuna::test::udf {

Draft& Draft::number(std::size_t at, std::uint64_t v, std::size_t width) {
  if (bytes_.size() < at + width) bytes_.resize(at + width);
  for (std::size_t i = 0; i < width; ++i) bytes_[at + i] = static_cast<std::uint8_t>(v >> (8 * i) & 0xFF);
  return *this;
}

Draft& Draft::raw(std::size_t at, std::span<const std::uint8_t> data) {
  if (bytes_.size() < at + data.size()) bytes_.resize(at + data.size());
  std::ranges::copy(data, bytes_.begin() + static_cast<std::ptrdiff_t>(at));
  return *this;
}

Draft& Draft::text(std::size_t at, std::string_view data) {
  for (const char c : data) u8(at++, static_cast<std::uint8_t>(c));
  return *this;
}

Draft& Draft::dstring(std::size_t at, std::size_t width, std::string_view utf8) {
  const std::string coded = utf8.empty() ? std::string() : cs0(utf8);
  if (coded.size() >= width) throw std::invalid_argument("the text does not fit its field");
  return text(at, coded + std::string(width - 1 - coded.size(), '\0')).u8(at + width - 1, coded.size());
}

Draft& Draft::charspec(std::size_t at) {
  return u8(at, 0).text(at + 1, std::string("OSTA Compressed Unicode") + std::string(40, '\0'));
}

Draft& Draft::time(std::size_t at, const UdfTime& t) {
  const auto zone = static_cast<std::uint16_t>(t.zone_minutes);
  u16(at, static_cast<std::uint16_t>(t.type << 12 | (zone & 0x0FFF))).u16(at + 2, static_cast<std::uint16_t>(t.year));
  const std::uint8_t rest[] = {
      t.month, t.day, t.hour, t.minute, t.second, t.centiseconds, t.hundreds_of_microseconds, t.microseconds};
  return raw(at + 4, rest);
}

Draft& Draft::regid(std::size_t at, std::string_view id, std::string_view suffix, std::uint8_t flags) {
  if (id.size() > 23 || suffix.size() > 8) throw std::invalid_argument("the identifier is too long");
  return u8(at, flags).u8(at + 31, 0).text(at + 1, id).text(at + 24, suffix);
}

Draft& Draft::extent(std::size_t at, const Extent& e) { return u32(at, e.bytes).u32(at + 4, e.block); }

Draft& Draft::long_ad(std::size_t at, const LongAd& a) {
  return u32(at, a.bytes).u32(at + 4, a.block).u16(at + 8, a.reference).u16(at + 10, 0).u32(at + 12, a.unique_id);
}

Bytes Draft::sealed(Tag id, std::uint16_t version, std::uint32_t location) {
  u16(0, id).u16(2, version).u8(5, 0).u16(6, 1).u16(10, bytes_.size() - 16).u32(12, location);
  udf_reseal(bytes_);
  return bytes_;
}

std::uint16_t crc(std::span<const std::uint8_t> data) {
  std::uint32_t sum = 0;
  for (const std::uint8_t byte : data) {
    sum ^= std::uint32_t{byte} << 8;
    for (int bit = 0; bit < 8; ++bit) sum = (sum & 0x8000) != 0 ? (sum << 1 ^ 0x1021) & 0xFFFF : sum << 1 & 0xFFFF;
  }
  return static_cast<std::uint16_t>(sum);
}

std::string suffix16(std::uint16_t revision) {
  return {static_cast<char>(revision & 0xFF), static_cast<char>(revision >> 8)};
}

std::string cs0(std::string_view utf8, std::uint8_t bits, bool deleted) {
  std::vector<std::uint32_t> characters;
  for (std::size_t i = 0; i < utf8.size();) {
    const auto lead = static_cast<std::uint8_t>(utf8[i++]);
    const int more = lead < 0x80 ? 0 : lead < 0xE0 ? 1 : lead < 0xF0 ? 2 : 3;
    std::uint32_t c = more == 0 ? lead : lead & (0x3Fu >> more);
    for (int k = 0; k < more; ++k) c = c << 6 | (static_cast<std::uint8_t>(utf8[i++]) & 0x3Fu);
    characters.push_back(c);
  }
  if (bits == 0) bits = std::ranges::all_of(characters, [](std::uint32_t c) { return c < 256; }) ? 8 : 16;
  std::string out(1, static_cast<char>(deleted ? (bits == 8 ? 254 : 255) : bits));
  const auto unit = [&out](std::uint32_t v) {
    out.push_back(static_cast<char>(v >> 8));
    out.push_back(static_cast<char>(v & 0xFF));
  };
  for (const std::uint32_t c : characters) {
    if (bits == 8) {
      out.push_back(static_cast<char>(c));
    } else if (c < 0x10000) {
      unit(c);
    } else {
      unit(0xD800 + ((c - 0x10000) >> 10));
      unit(0xDC00 + ((c - 0x10000) & 0x3FF));
    }
  }
  return out;
}

std::size_t ad_bytes(UdfAds form) { return form == UdfAds::kShort ? 8 : form == UdfAds::kLong ? 16 : 20; }

void append_ad(Bytes& to, UdfAds form, const Ad& ad) {
  Draft d;
  d.u32(0, std::uint32_t{ad.type} << 30 | ad.bytes);
  if (form == UdfAds::kShort) {
    d.u32(4, ad.block);
  } else if (form == UdfAds::kLong) {
    d.u32(4, ad.block).u16(8, ad.reference).u16(14, 0);
  } else {  // 4/14.14.3: recorded and information length, 2 bytes of implementation use.
    d.u32(4, ad.type == 0 ? ad.bytes : 0).u32(8, ad.bytes).u32(12, ad.block).u16(16, ad.reference).u16(18, 0);
  }
  const Bytes b = d.bytes();
  to.insert(to.end(), b.begin(), b.end());
}

namespace {

/// 4/14.6
void put_icb_tag(Draft& d, std::uint16_t strategy, std::uint8_t type, std::uint16_t flags) {
  d.u16(20, strategy).u16(22, strategy == 4096 ? 1 : 0).u16(24, strategy == 4096 ? 2 : 1).u8(27, type).u16(34, flags);
}

std::string as_text(const Bytes& b) { return {b.begin(), b.end()}; }

/// The fields that all extended attributes begin with (4/14.10.2).
Draft attribute(std::uint32_t type, std::size_t bytes) {
  Draft d(bytes);
  d.u32(0, type).u8(4, 1).u32(8, bytes);
  return d;
}

constexpr std::size_t round4(std::size_t n) { return (n + 3) / 4 * 4; }

}  // namespace

Bytes Style::file_entry(const Entry& e, std::uint32_t location) const {
  const UdfNode& n = *e.node;
  const Bytes attributes = attribute_space(n.attributes, location);
  const std::size_t shift = e.extended ? 40 : 0;
  Draft d(176 + shift);
  put_icb_tag(d, e.strategy, e.type, static_cast<std::uint16_t>(n.icb_flags | static_cast<std::uint8_t>(e.form)));
  d.u32(36, n.uid).u32(40, n.gid).u32(44, n.permissions).u16(48, e.links).u64(56, e.bytes);
  if (e.extended) {
    d.u64(64, e.object_bytes).u64(72, e.recorded_blocks).time(80, n.accessed).time(92, n.modified);
    d.time(104, n.created).time(116, n.changed).u32(128, 1).long_ad(136, e.attributes_icb).long_ad(152, e.streams_icb);
  } else {
    d.u64(64, e.recorded_blocks).time(72, n.accessed).time(84, n.modified).time(96, n.changed).u32(108, 1);
    d.long_ad(112, e.attributes_icb);
  }
  d.regid(128 + shift, o_.implementation_id).u64(160 + shift, e.unique_id);
  d.u32(168 + shift, attributes.size()).u32(172 + shift, e.descriptors.size());
  d.raw(176 + shift, attributes).raw(176 + shift + attributes.size(), e.descriptors);
  if (d.size() > o_.block_bytes) throw std::invalid_argument("the file entry of " + n.name + " outgrows its block");
  return d.sealed(e.extended ? kExtendedFile : kFile, tag_version(), location);
}

Bytes Style::indirect_entry(const LongAd& next, std::uint32_t location) const {
  Draft d;
  put_icb_tag(d, 4096, 3, 0);
  return d.long_ad(36, next).sealed(kIndirect, tag_version(), location);
}

Bytes Style::terminal_entry(std::uint32_t location) const {
  Draft d;
  put_icb_tag(d, 4096, 11, 0);
  return d.sealed(kTerminal, tag_version(), location);
}

Bytes Style::identifier(const UdfNode& n, std::uint8_t characteristics, const LongAd& icb,
                        std::uint32_t location) const {
  const std::string name = cs0(n.name, n.name_bits, n.deleted_name);
  if (name.size() > 255) throw std::invalid_argument("a name of over 255 bytes");
  Draft d(round4(38 + n.identifier_use.size() + name.size()));
  d.u16(16, 1).u8(18, characteristics).u8(19, name.size()).long_ad(20, icb).u16(36, n.identifier_use.size());
  d.text(38, n.identifier_use).text(38 + n.identifier_use.size(), name);
  return d.sealed(kIdentifier, tag_version(), location);
}

Bytes Style::parent_identifier(const LongAd& icb, std::uint32_t location) const {
  Draft d(40);
  return d.u16(16, 1).u8(18, 0x0A).long_ad(20, icb).sealed(kIdentifier, tag_version(), location);
}

Bytes Style::allocation_extent(const Bytes& ads, std::uint32_t previous, std::uint32_t location) const {
  Draft d;
  d.u32(16, previous).u32(20, ads.size()).raw(24, ads);
  return d.sealed(kAllocationExtent, tag_version(), location);
}

Bytes Style::attribute_space(const std::vector<std::string>& attributes, std::uint32_t location) const {
  if (attributes.empty()) return {};
  std::string all;
  std::uint32_t implementation = 0xFFFFFFFF, application = 0xFFFFFFFF;  // 4/14.10.1: none
  for (const std::string& a : attributes) {
    const auto at = static_cast<std::uint32_t>(24 + all.size());
    const auto type = static_cast<std::uint8_t>(a[0]) |
                      static_cast<std::uint32_t>(static_cast<std::uint8_t>(a[1])) << 8 |
                      static_cast<std::uint32_t>(static_cast<std::uint8_t>(a[2])) << 16;
    if (type == 2048 && implementation == 0xFFFFFFFF) implementation = at;
    if (type == 65536 && application == 0xFFFFFFFF) application = at;
    all += a;
  }
  const auto end = static_cast<std::uint32_t>(24 + all.size());
  if (application == 0xFFFFFFFF) application = end;
  if (implementation == 0xFFFFFFFF) implementation = application;
  Draft header;
  Bytes space = header.u32(16, implementation).u32(20, application).sealed(kAttributes, tag_version(), location);
  for (const char c : all) space.push_back(static_cast<std::uint8_t>(c));
  return space;
}

Bytes Style::file_set(std::uint32_t number, const LongAd& root, const LongAd& next, const LongAd& streams,
                      std::uint32_t location) const {
  Draft d(512);
  d.time(16, {}).u16(28, 3).u16(30, 3).u32(32, 1).u32(36, 1).u32(40, number).u32(44, 0).charspec(48);
  d.dstring(112, 128, o_.volume_id).charspec(240).dstring(304, 32, o_.volume_id).dstring(336, 32, "");
  d.dstring(368, 32, "").long_ad(400, root).regid(416, "*OSTA UDF Compliant", suffix16(o_.revision));
  d.long_ad(448, next);
  if (o_.revision >= 0x0200) d.long_ad(464, streams);
  return d.sealed(kFileSet, tag_version(), location);
}

Bytes Style::space_bitmap(const std::vector<bool>& used, std::uint32_t location) const {
  const std::size_t bytes = (used.size() + 7) / 8;
  Draft d(24);
  Bytes all = d.u32(16, used.size()).u32(20, bytes).sealed(kSpaceBitmap, tag_version(), location);
  // UDF 2.3.8.1: the CRC covers 8 bytes or none of the bitmap.
  all.resize(24 + bytes);
  for (std::size_t i = 0; i < used.size(); ++i) {
    if (!used[i]) all[24 + i / 8] = static_cast<std::uint8_t>(all[24 + i / 8] | 1u << (i % 8));
  }
  return all;
}

Bytes Style::unallocated_entry(const std::vector<Ad>& free, std::uint32_t location) const {
  Bytes ads;
  for (const Ad& ad : free) append_ad(ads, UdfAds::kShort, ad);
  Draft d;
  put_icb_tag(d, 4, 1, 0);
  if (40 + ads.size() > o_.block_bytes) throw std::invalid_argument("the unallocated space entry outgrows its block");
  return d.u32(36, ads.size()).raw(40, ads).sealed(kUnallocatedSpace, tag_version(), location);
}

}  // namespace lacuna::test::udf

namespace lacuna::test {

void udf_reseal(std::span<std::uint8_t> descriptor) {
  const std::size_t length = descriptor[10] | static_cast<std::size_t>(descriptor[11]) << 8;
  const std::uint16_t sum = udf::crc(descriptor.subspan(16, length));
  descriptor[8] = static_cast<std::uint8_t>(sum & 0xFF);
  descriptor[9] = static_cast<std::uint8_t>(sum >> 8);
  std::uint32_t checksum = 0;
  for (std::size_t i = 0; i < 16; ++i) checksum += i == 4 ? 0u : descriptor[i];
  descriptor[4] = static_cast<std::uint8_t>(checksum & 0xFF);
}

void udf_damage(std::span<std::uint8_t> descriptor) {
  const std::size_t length = descriptor[10] | static_cast<std::size_t>(descriptor[11]) << 8;
  if (length == 0) throw std::invalid_argument("a CRC that covers nothing");
  descriptor[16 + length / 2] ^= 0x55;
}

std::string udf_ea_file_time(std::uint32_t existence, const UdfTime& time) {
  udf::Draft d = udf::attribute(5, 32);
  return udf::as_text(d.u32(12, 12).u32(16, existence).time(20, time).bytes());
}

std::string udf_ea_information_time(std::uint32_t existence, const UdfTime& time) {
  udf::Draft d = udf::attribute(6, 32);
  return udf::as_text(d.u32(12, 12).u32(16, existence).time(20, time).bytes());
}

std::string udf_ea_device(std::uint32_t major, std::uint32_t minor) {
  udf::Draft d = udf::attribute(12, 24 + 32);  // UDF 3.3.4.4: the implementation use begins with an identifier.
  return udf::as_text(d.u32(12, 32).u32(16, major).u32(20, minor).regid(24, "*Lacuna tests").bytes());
}

std::string udf_ea_implementation(std::string_view id, std::string_view use, std::uint16_t revision) {
  const std::size_t use_bytes = udf::round4(2 + use.size());
  udf::Draft d = udf::attribute(2048, 48 + use_bytes);
  d.u32(12, use_bytes).regid(16, id, udf::suffix16(revision));
  const udf::Bytes header = d.bytes();
  std::uint32_t checksum = 0;  // UDF 3.3.4.5: of the 48 bytes before it.
  for (std::size_t i = 0; i < 48; ++i) checksum += header[i];
  return udf::as_text(d.u16(48, checksum & 0xFFFF).text(50, use).bytes());
}

std::string udf_ea_application(std::string_view id, std::string_view use) {
  const std::size_t use_bytes = udf::round4(use.size());
  udf::Draft d = udf::attribute(65536, 48 + use_bytes);
  return udf::as_text(d.u32(12, use_bytes).regid(16, id).text(48, use).bytes());
}

std::string udf_path(std::string_view path) {
  std::string out;
  const auto component = [&out](std::uint8_t type, const std::string& name) {
    out.push_back(static_cast<char>(type));
    out.push_back(static_cast<char>(name.size()));
    out.append(2, '\0');
    out += name;
  };
  if (path.starts_with('/')) component(2, "");
  while (!path.empty()) {
    const std::string_view part = path.substr(0, path.find('/'));
    path.remove_prefix(std::min(path.size(), part.size() + 1));
    if (part.empty()) continue;
    if (part == "..") {
      component(3, "");
    } else if (part == ".") {
      component(4, "");
    } else {
      component(5, udf::cs0(part));
    }
  }
  return out;
}

}  // namespace lacuna::test
