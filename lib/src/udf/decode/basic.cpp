// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/basic.h"

#include <iterator>

#include "udf/decode/read_tag.h"

namespace lacuna::udf {
namespace {

/// 1/7.3.1: the zone, 12 bits in two's complement, minutes.
constexpr int zone_of(unsigned type_and_zone) {
  const int zone = static_cast<int>(type_and_zone & 0xfff);
  return zone < 0x800 ? zone : zone - 0x1000;
}
constexpr int kNoZone = -2047;
constexpr int kMaxZoneMinutes = 24 * 60;

}  // namespace

// ECMA-167 1/7.3
RecordedTime decode_timestamp(Bytes b) noexcept {
  RecordedTime result;
  if (b.size() < kTimestampBytes) {
    result.problems = time_problem::kNotADate;
    return result;
  }
  b = b.first(kTimestampBytes);
  if (all_zero(b)) return result;

  const unsigned type_and_zone = le16(b, 0);
  result.type = static_cast<std::uint8_t>(type_and_zone >> 12);
  int zone = 0;
  if (result.type == 1) {  // only then the zone means anything (1/7.3.1)
    zone = zone_of(type_and_zone);
    result.has_zone = zone >= -kMaxZoneMinutes && zone <= kMaxZoneMinutes;
    if (!result.has_zone) {
      if (zone != kNoZone) result.problems |= time_problem::kZone;
      zone = 0;
    }
  } else {
    result.has_zone = result.type == 0;
    if (result.type > 2) result.problems |= time_problem::kType;
  }

  std::int32_t nanoseconds = 0;
  if (b[9] <= 99 && b[10] <= 99 && b[11] <= 99) {
    nanoseconds = b[9] * 10'000'000 + b[10] * 100'000 + b[11] * 1'000;
  } else {
    result.problems |= time_problem::kFraction;
  }
  const int year = static_cast<std::int16_t>(le16(b, 2));
  if (const auto time = make_timestamp(year, b[4], b[5], b[6], b[7], b[8], nanoseconds, zone)) {
    result.time = *time;
  } else {
    result.problems |= time_problem::kNotADate;
  }
  return result;
}

Timestamp time_at(Bytes b, std::size_t at, std::uint32_t bit, std::uint32_t& problems) noexcept {
  const RecordedTime t = decode_timestamp(b.subspan(at));
  if (t.problems != 0) problems |= bit;
  return t.time;
}

// UDF 6.3.1; from memory, as far as UDF 2.60 goes
std::string_view os_class_name(std::uint8_t os_class) noexcept {
  constexpr std::string_view kNames[] = {
      "", "DOS", "OS/2", "Macintosh OS", "UNIX", "Windows 9x", "Windows NT", "OS/400", "BeOS", "Windows CE",
  };
  return os_class < std::size(kNames) ? kNames[os_class] : std::string_view{};
}

// ECMA-167 1/7.4
std::string_view Regid::identifier() const noexcept {
  if (raw.empty()) return {};
  const std::string_view all = as_text(raw.subspan(1, 23));
  return all.substr(0, all.find_last_not_of('\0') + 1);
}

// UDF 2.1.5.3: revision, OS class, OS identifier, 4 bytes reserved
WriterSystem Regid::udf_system() const noexcept {
  return raw.empty() ? WriterSystem{} : WriterSystem{raw[26], raw[27]};
}

// UDF 2.1.5.3: OS class, OS identifier, 6 bytes of the implementation's
WriterSystem Regid::implementation_system() const noexcept {
  return raw.empty() ? WriterSystem{} : WriterSystem{raw[24], raw[25]};
}

// UDF 2.1.2: type 0, the name, zeros to the end
bool is_osta_charspec(Bytes charspec) noexcept {
  constexpr std::string_view kName = "OSTA Compressed Unicode";
  if (charspec.size() < kCharspecBytes || charspec[0] != 0) return false;
  const std::string_view information = as_text(charspec.subspan(1, kCharspecBytes - 1));
  return information.starts_with(kName) && information.find_first_not_of('\0', kName.size()) == information.npos;
}

// ECMA-167 4/14.14.3; the top bits of the two other lengths are reserved
ExtAd ext_ad_at(Bytes b, std::size_t at) noexcept {
  const std::uint32_t length = le32(b, at);
  return {extent_type(length), extent_bytes(length), extent_bytes(le32(b, at + 4)), le32(b, at + 8),
          lb_addr_at(b, at + 12)};
}

}  // namespace lacuna::udf
