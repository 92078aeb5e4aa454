// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/words.h"

#include <fmt/format.h>

#include <array>

namespace lacuna {

std::string human_bytes(std::uint64_t bytes) {
  if (bytes < 1000) return fmt::format("{} B", bytes);
  constexpr std::array<std::string_view, 6> kUnits{"kB", "MB", "GB", "TB", "PB", "EB"};
  // Integers all the way, so that no rounding of floating point shows: tenths and hundredths of the unit.
  std::uint64_t unit = 1000;
  std::size_t u = 0;
  while (u + 1 < kUnits.size() && bytes / unit >= 1000) {
    unit *= 1000;
    ++u;
  }
  for (;;) {
    const std::uint64_t whole = bytes / unit;
    const std::uint64_t scale = whole < 10 ? 100 : whole < 100 ? 10 : 1;
    const std::uint64_t step = unit / scale;
    std::uint64_t scaled = bytes / step;
    if (bytes % step >= step - step / 2) ++scaled;
    if (scaled >= 1000 * scale && u + 1 < kUnits.size()) {  // 999,999 B is 1 MB, not 1000 kB.
      unit *= 1000;
      ++u;
      continue;
    }
    std::string text = fmt::to_string(scaled / scale);
    if (std::uint64_t rest = scaled % scale; rest != 0) {
      std::string digits = scale == 100 ? fmt::format("{:02}", rest) : fmt::to_string(rest);
      if (digits.back() == '0') digits.pop_back();
      text += '.' + digits;
    }
    return text.append(1, ' ').append(kUnits[u]);
  }
}

std::string grouped(std::uint64_t number) {
  std::string text = fmt::to_string(number);
  for (std::size_t at = text.size(); at > 3;) text.insert(at -= 3, 1, ',');
  return text;
}

std::string shown(std::string_view text) {
  std::string to;
  report::append_shown(to, text);
  return to;
}

std::string shell_quoted(std::string_view text) {
  constexpr std::string_view kSafe = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-./+,:@%=";
  if (!text.empty() && text.find_first_not_of(kSafe) == std::string_view::npos) return std::string(text);
  std::string quoted = "'";
  for (const char c : text) {
    if (c == '\'') {
      quoted += "'\\''";
    } else {
      quoted += c;
    }
  }
  return quoted + '\'';
}

namespace report {
namespace {

bool is_control(unsigned char c) { return c < 0x20 || c == 0x7f; }

/// Length of the multi-byte character at the front that must not reach a terminal as it is, else 0: the C1 controls,
/// line and paragraph separators, and the characters that reorder what stands around them (Unicode 15, UAX #9).
std::size_t unshowable(std::string_view s) {
  const auto byte = [&s](std::size_t i) { return i < s.size() ? static_cast<unsigned char>(s[i]) : 0u; };
  if (byte(0) == 0xc2 && byte(1) >= 0x80 && byte(1) <= 0x9f) return 2;  // U+0080..U+009F
  if (byte(0) != 0xe2) return 0;
  const unsigned two = byte(1), three = byte(2);
  if (two == 0x80 && ((three >= 0xa8 && three <= 0xae) || three == 0x8e || three == 0x8f)) return 3;
  if (two == 0x81 && three >= 0xa6 && three <= 0xa9) return 3;
  return 0;
}

}  // namespace

void append_shown(std::string& to, std::string_view text) {
  std::size_t done = 0;
  for (std::size_t i = 0; i < text.size();) {
    const auto c = static_cast<unsigned char>(text[i]);
    std::size_t length = 0;
    if (is_control(c)) {
      length = 1;
    } else if (c == 0xc2 || c == 0xe2) {
      length = unshowable(text.substr(i));
    }
    if (length == 0) {
      ++i;
      continue;
    }
    to.append(text, done, i - done);
    for (std::size_t k = 0; k < length; ++k) {
      fmt::format_to(std::back_inserter(to), "%{:02X}", static_cast<unsigned char>(text[i + k]));
    }
    done = i += length;
  }
  to.append(text, done, std::string_view::npos);
}

std::string counted(std::uint64_t number, std::string_view noun, std::string_view plural) {
  std::string text = grouped(number) + ' ';
  if (number == 1) return text.append(noun);
  return plural.empty() ? text.append(noun) + 's' : text.append(plural);
}

std::string udf_revision(std::uint16_t bcd) { return fmt::format("{:x}.{:02x}", bcd >> 8, bcd & 0xFF); }

std::string lba_range(std::uint64_t first, std::uint64_t count) {
  return count <= 1 ? fmt::format("LBA {}", first) : fmt::format("LBA {} to {}", first, first + count - 1);
}

std::string share(std::uint64_t part, std::uint64_t all) {
  if (part == 0 || all == 0) return "0 %";
  if (part >= all) return "100 %";
  const double percent = 100.0 * static_cast<double>(part) / static_cast<double>(all);
  if (percent < 0.1) return "<0.1 %";
  if (percent > 99.9) return ">99.9 %";
  return fmt::format("{:.1f} %", percent);
}

std::string_view Dates::minute(const Timestamp& t) {
  if (!t.known) return "                ";
  constexpr std::int64_t kDay = 86400;
  const std::int64_t local = t.seconds + std::int64_t{t.zone_minutes} * 60;
  std::int64_t day = local / kDay, second = local % kDay;
  if (second < 0) {
    second += kDay;
    --day;
  }
  if (!day_known_ || day != day_) {
    day_ = day;
    day_known_ = true;
    text_ = to_iso8601(t).substr(0, 10);
    text_.resize(kWidth, ' ');
  }
  const auto put = [this](std::size_t at, std::int64_t two_digits) {
    text_[at] = static_cast<char>('0' + two_digits / 10);
    text_[at + 1] = static_cast<char>('0' + two_digits % 10);
  };
  put(11, second / 3600);
  text_[13] = ':';
  put(14, second / 60 % 60);
  return text_;
}

}  // namespace report
}  // namespace lacuna
