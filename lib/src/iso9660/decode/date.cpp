// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/date.h"

#include <algorithm>

namespace lacuna::iso9660 {
namespace {

/// ECMA-119 9.1.5, byte 7: a signed number (7.1.2) of 15-minute steps east of Greenwich, -48 to 52.
constexpr int kMinZone = -48;
constexpr int kMaxZone = 52;

std::optional<Timestamp> with_zone(int year, int month, int day, int hour, int minute, int second, int hundredths,
                                   std::uint8_t zone_byte) {
  const int zone = static_cast<std::int8_t>(zone_byte);
  if (zone < kMinZone || zone > kMaxZone) return {};
  return make_timestamp(year, month, day, hour, minute, second, hundredths * 10'000'000, zone * 15);
}

}  // namespace

std::optional<Timestamp> decode_short_date(Bytes b) {
  if (b.size() < kShortDateBytes) return {};
  if ((b[0] | b[1] | b[2] | b[3] | b[4] | b[5] | b[6]) == 0) return Timestamp{};
  return with_zone(1900 + b[0], b[1], b[2], b[3], b[4], b[5], 0, b[6]);
}

std::optional<Timestamp> decode_long_date(Bytes b) {
  if (b.size() < kLongDateBytes) return {};
  const Bytes digits = b.first(16);
  if (!std::ranges::all_of(digits, [](std::uint8_t c) { return c >= '0' && c <= '9'; })) return {};
  // The zone has to be 0 too by 8.4.26.1; with another one, still nothing is specified.
  if (std::ranges::all_of(digits, [](std::uint8_t c) { return c == '0'; })) return Timestamp{};
  const auto number = [&](std::size_t at, std::size_t count) {
    int n = 0;
    for (const std::uint8_t c : digits.subspan(at, count)) n = n * 10 + (c - '0');
    return n;
  };
  return with_zone(number(0, 4), number(4, 2), number(6, 2), number(8, 2), number(10, 2), number(12, 2), number(14, 2),
                   b[16]);
}

}  // namespace lacuna::iso9660
