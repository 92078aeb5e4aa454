// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/tag.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "udf/decode/read_tag.h"

namespace lacuna::udf {
namespace {

using CrcTable = std::array<std::uint16_t, 256>;

/// kCrcTables[k][c]: what byte c adds to the CRC when k more bytes follow it in the same step.
constexpr std::array<CrcTable, 8> make_crc_tables() {
  std::array<CrcTable, 8> tables{};
  for (unsigned c = 0; c < 256; ++c) {
    unsigned crc = c << 8;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 0x8000) != 0 ? (crc << 1 ^ 0x1021) & 0xffff : crc << 1;
    tables[0][c] = static_cast<std::uint16_t>(crc);
  }
  for (std::size_t k = 1; k < tables.size(); ++k) {
    for (std::size_t c = 0; c < 256; ++c) {
      const unsigned crc = tables[k - 1][c];
      tables[k][c] = static_cast<std::uint16_t>((crc << 8 & 0xffff) ^ tables[0][crc >> 8]);
    }
  }
  return tables;
}
constexpr auto kCrcTables = make_crc_tables();

}  // namespace

std::string_view tag_name(std::uint16_t identifier) noexcept {
  switch (identifier) {
    case tag_id::kSparingTable:
      return "sparing table";
    case tag_id::kPrimaryVolume:
      return "primary volume descriptor";
    case tag_id::kAnchor:
      return "anchor volume descriptor pointer";
    case tag_id::kVolumePointer:
      return "volume descriptor pointer";
    case tag_id::kImplementationUse:
      return "implementation use volume descriptor";
    case tag_id::kPartition:
      return "partition descriptor";
    case tag_id::kLogicalVolume:
      return "logical volume descriptor";
    case tag_id::kUnallocatedSpace:
      return "unallocated space descriptor";
    case tag_id::kTerminating:
      return "terminating descriptor";
    case tag_id::kIntegrity:
      return "logical volume integrity descriptor";
    case tag_id::kFileSet:
      return "file set descriptor";
    case tag_id::kFileIdentifier:
      return "file identifier descriptor";
    case tag_id::kAllocationExtent:
      return "allocation extent descriptor";
    case tag_id::kIndirectEntry:
      return "indirect entry";
    case tag_id::kTerminalEntry:
      return "terminal entry";
    case tag_id::kFileEntry:
      return "file entry";
    case tag_id::kExtendedAttributeHeader:
      return "extended attribute header descriptor";
    case tag_id::kUnallocatedSpaceEntry:
      return "unallocated space entry";
    case tag_id::kSpaceBitmap:
      return "space bitmap descriptor";
    case tag_id::kPartitionIntegrityEntry:
      return "partition integrity entry";
    case tag_id::kExtendedFileEntry:
      return "extended file entry";
    default:
      return "unknown descriptor";
  }
}

// ECMA-167 3/7.2.6
std::uint16_t crc16(Bytes b, std::uint16_t before) noexcept {
  unsigned crc = before;
  std::size_t i = 0;
  for (; b.size() - i >= 8; i += 8) {
    crc ^= be16(b, i);
    const unsigned first = kCrcTables[7][crc >> 8] ^ kCrcTables[6][crc & 0xff];
    const unsigned middle = kCrcTables[5][b[i + 2]] ^ kCrcTables[4][b[i + 3]] ^ kCrcTables[3][b[i + 4]];
    crc = first ^ middle ^ kCrcTables[2][b[i + 5]] ^ kCrcTables[1][b[i + 6]] ^ kCrcTables[0][b[i + 7]];
  }
  for (; i < b.size(); ++i) crc = (crc << 8 & 0xffff) ^ kCrcTables[0][(crc >> 8) ^ b[i]];
  return static_cast<std::uint16_t>(crc);
}

// ECMA-167 3/7.2.3
std::uint8_t tag_checksum(Bytes tag) noexcept {
  unsigned sum = 0;
  for (std::size_t i = 0; i < kTagBytes; ++i) sum += i == 4 ? 0u : tag[i];
  return static_cast<std::uint8_t>(sum);
}

// ECMA-167 3/7.2
Tag tag_fields(Bytes b) noexcept {
  return {le16(b, 0), le16(b, 2), b[4], le16(b, 6), le16(b, 8), le16(b, 10), le32(b, 12)};
}

std::optional<Tag> decode_tag(Bytes b) noexcept {
  if (b.size() < kTagBytes || tag_checksum(b) != b[4] || all_zero(b.first(kTagBytes))) return {};
  return tag_fields(b);
}

TagCheck check_tag(Bytes descriptor, std::optional<std::uint32_t> expected_location,
                   std::uint64_t needed_bytes) noexcept {
  TagCheck check;
  check.expected_location = expected_location;
  const Bytes b = descriptor;
  const auto add = [&](bool wrong, std::uint32_t bit) { check.problems |= wrong ? bit : 0; };
  add(b.size() < std::max<std::uint64_t>(needed_bytes, kTagBytes), tag_problem::kTooShort);
  if (b.size() < kTagBytes) return check;
  if (all_zero(b.first(kTagBytes))) {
    check.problems |= tag_problem::kBlank;
    return check;
  }
  const Tag& t = check.tag = tag_fields(b);
  add(tag_checksum(b) != t.checksum, tag_problem::kChecksum);
  add(t.version != 2 && t.version != 3, tag_problem::kVersion);
  add(b[5] != 0, tag_problem::kReserved);
  add(expected_location && *expected_location != t.location, tag_problem::kLocation);

  const std::uint64_t covered_bytes = std::uint64_t{kTagBytes} + t.crc_length;
  if (t.crc_length == 0) {
    check.problems |= tag_problem::kCrcNone;
    add(t.crc != 0, tag_problem::kCrc);
    return check;
  }
  add(covered_bytes < needed_bytes, tag_problem::kCrcShort);
  if (covered_bytes > b.size()) {
    check.problems |= tag_problem::kCrcBeyond;
  } else {
    add(crc16(b.subspan(kTagBytes, t.crc_length)) != t.crc, tag_problem::kCrc);
  }
  return check;
}

std::string describe(const TagCheck& check) {
  std::string text;
  std::size_t last_phrase = 0;
  const auto say = [&](std::uint32_t bit, auto&& phrase) {
    if ((check.problems & bit) == 0) return;
    if (!text.empty()) text += ", ";
    last_phrase = text.size();
    text += phrase();
  };
  const auto words = [](std::string_view phrase) { return [phrase] { return phrase; }; };
  say(tag_problem::kTooShort, words("it is cut short"));
  say(tag_problem::kBlank, words("nothing is recorded there"));
  say(tag_problem::kChecksum, words("the checksum of its tag is wrong"));
  // What a tag with a wrong checksum says further on means nothing.
  if ((check.problems & tag_problem::kChecksum) == 0) {
    const Tag& t = check.tag;
    say(tag_problem::kCrc, words("its CRC is wrong"));
    say(tag_problem::kCrcBeyond,
        [&] { return fmt::format("its CRC covers {} bytes, more than there are", t.crc_length); });
    say(tag_problem::kCrcNone, words("it has no CRC"));
    say(tag_problem::kCrcShort, [&] { return fmt::format("its CRC covers only {} bytes", t.crc_length); });
    say(tag_problem::kVersion, [&] { return fmt::format("its version is {}, not 2 or 3", t.version); });
    say(tag_problem::kLocation, [&] {
      return fmt::format("its location is {} instead of {}", t.location, check.expected_location.value_or(0));
    });
    say(tag_problem::kReserved, words("the reserved byte of its tag is not zero"));
  }
  if (last_phrase != 0) text.replace(last_phrase - 2, 2, " and ");
  return text;
}

}  // namespace lacuna::udf
