// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/script_safe.h"

#include <fmt/format.h>

#include <iterator>

namespace lacuna::report {
namespace {

enum class Fit { kKeep, kReplace, kUnfinished };

struct Front {
  Fit fit = Fit::kKeep;
  std::size_t bytes = 1;
  unsigned code = 0;
};

bool reorders_or_separates(unsigned code) {
  return code == 0x61c || code == 0x200e || code == 0x200f || (code >= 0x2028 && code <= 0x202e) ||
         (code >= 0x2066 && code <= 0x2069) || (code >= 0x80 && code <= 0x9f);
}

/// What stands at the front of `s`, which is not empty. Looks only at the characters of two and three bytes that may
/// have to be replaced; all others are kept byte by byte.
Front look_at_front(std::string_view s) {
  const auto byte = [&s](std::size_t i) { return static_cast<unsigned>(static_cast<unsigned char>(s[i])); };
  const unsigned c = byte(0);
  if (c == '<' || c == '>' || c == '&' || c == 0x7f) return {Fit::kReplace, 1, c};
  if (c != 0xc2 && c != 0xd8 && c != 0xe2) return {};
  const std::size_t length = c == 0xe2 ? 3 : 2;
  if (s.size() < length) return {Fit::kUnfinished, s.size(), 0};
  const unsigned code =
      length == 2 ? (c & 0x1f) << 6 | (byte(1) & 0x3f) : (c & 0x0f) << 12 | (byte(1) & 0x3f) << 6 | (byte(2) & 0x3f);
  return {reorders_or_separates(code) ? Fit::kReplace : Fit::kKeep, length, code};
}

}  // namespace

void ScriptSafe::take(std::string_view piece) {
  std::string joined;
  if (!begun_.empty()) {
    joined = begun_ + std::string(piece);
    begun_.clear();
    piece = joined;
  }
  out_.clear();
  std::size_t done = 0;
  for (std::size_t i = 0; i < piece.size();) {
    const Front front = look_at_front(piece.substr(i));
    if (front.fit == Fit::kUnfinished) {
      begun_ = piece.substr(i);
      piece = piece.substr(0, i);
      break;
    }
    if (front.fit == Fit::kReplace) {
      out_.append(piece, done, i - done);
      fmt::format_to(std::back_inserter(out_), "\\u{:04x}", front.code);
      done = i + front.bytes;
    }
    i += front.bytes;
  }
  out_.append(piece, done, std::string_view::npos);
  to_(out_);
}

}  // namespace lacuna::report
