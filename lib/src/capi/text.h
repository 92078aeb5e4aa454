// SPDX-License-Identifier: GPL-3.0-or-later
// Texts and dates on their way through the C interface.
#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "capi/guard.h"
#include "lacuna/c/words.h"
#include "lacuna/glob.h"
#include "lacuna/timestamp.h"

namespace lacuna::capi {

inline constexpr lacuna_string kNoText{"", 0};

/// Valid as long as the string.
inline lacuna_string to_c(const std::string& s) noexcept { return {s.c_str(), s.size()}; }
/// Of a text that has a NUL behind it, such as a literal.
inline lacuna_string literal_to_c(std::string_view s) noexcept {
  return s.data() == nullptr ? kNoText : lacuna_string{s.data(), s.size()};
}

inline lacuna_time to_c(const Timestamp& t) noexcept {
  return {t.seconds, t.nanoseconds, t.zone_minutes, static_cast<std::uint8_t>(t.known ? 1 : 0), 0};
}

/// `what` stands in the message.
inline std::string text_from(lacuna_string s, const char* what) {
  if (s.bytes == 0) return {};
  if (s.data == nullptr) fail_usage(std::string(what).append(": the text is NULL, but has a length"));
  if (s.bytes > PTRDIFF_MAX) fail_usage(std::string(what).append(": no text has this length"));
  return {s.data, s.bytes};
}

inline std::filesystem::path path_from(lacuna_string s, const char* what) {
  std::string text = text_from(s, what);
  if (text.empty()) fail_usage(std::string(what).append(": the path is empty"));
  if (text.find('\0') != std::string::npos) fail_usage(std::string(what).append(": the path has a NUL in it"));
  return text;
}

/// An array of the caller.
template <class T>
std::span<const T> array_from(const T* first, std::size_t count, const char* what) {
  if (count == 0) return {};
  if (first == nullptr) fail_usage(std::string(what).append(": the array is NULL, but has a count"));
  return {first, count};
}

inline GlobSet globs_from(const lacuna_string* globs, std::size_t count, bool ignore_case) {
  std::vector<std::string> patterns;
  for (const lacuna_string& glob : array_from(globs, count, "globs")) patterns.push_back(text_from(glob, "globs"));
  return GlobSet(patterns, ignore_case);
}

}  // namespace lacuna::capi
