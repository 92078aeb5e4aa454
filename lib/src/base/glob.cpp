// SPDX-License-Identifier: GPL-3.0-or-later
// Both levels (characters of a name, names of a path) match greedily and go back to the last star only: what stands
// between two stars has a fixed length, so its earliest place is as good as any. That bounds the work by pattern
// times path.
#include "lacuna/glob.h"

#include <algorithm>

#include "base/utf8.h"

namespace lacuna {
namespace {

constexpr std::string_view kAnyNames = "**";
constexpr std::size_t kNone = std::string_view::npos;

char32_t folded(char32_t c, bool ignore_case) { return ignore_case && c >= U'A' && c <= U'Z' ? c + 0x20 : c; }

/// Where the class that opens at `at` ends (behind its ']'), or kNone. A ']' that comes first is a member.
std::size_t class_end(std::string_view pattern, std::size_t at) {
  std::size_t i = at + 1;
  if (i < pattern.size() && pattern[i] == '!') ++i;
  for (bool first = true; i < pattern.size(); ++i, first = false) {
    if (pattern[i] == ']' && !first) return i + 1;
    if (pattern[i] == '\\') ++i;
  }
  return kNone;
}

/// Escapes every '[' that no ']' closes, so that matching need not look for one again and again.
std::string with_closed_classes(std::string_view part) {
  std::string out;
  bool may_close = true;
  for (std::size_t i = 0; i < part.size();) {
    if (part[i] == '\\' && i + 1 < part.size()) {
      out += part.substr(i, 2);
      i += 2;
      continue;
    }
    if (part[i] == '[') {
      const std::size_t end = may_close ? class_end(part, i) : kNone;
      if (end != kNone) {
        out += part.substr(i, end - i);
        i = end;
        continue;
      }
      may_close = false;
      out += '\\';
    }
    out += part[i++];
  }
  return out;
}

/// One character of a pattern, a backslash before it undone. Moves `at` behind it.
char32_t literal(std::string_view pattern, std::size_t& at) {
  if (pattern[at] == '\\' && at + 1 < pattern.size()) ++at;
  const CodePoint c = code_point_at(pattern, at);
  at += c.length;
  return c.value;
}

/// Whether the class `inner` (without its brackets) has the character.
bool class_has(std::string_view inner, char32_t c, bool ignore_case) {
  const bool negated = inner.starts_with('!');
  const char32_t other = c >= U'a' && c <= U'z' ? c - 0x20 : c;  // `c` comes folded
  bool found = false;
  for (std::size_t at = negated ? 1 : 0; at < inner.size();) {
    const char32_t low = literal(inner, at);
    char32_t high = low;
    if (at + 1 < inner.size() && inner[at] == '-') {
      ++at;
      high = literal(inner, at);
    }
    found |= (c >= low && c <= high) || (ignore_case && other >= low && other <= high);
  }
  return found != negated;
}

/// How many bytes of the pattern from `at`, which is no star, match the character; 0: none.
std::size_t match_one(std::string_view pattern, std::size_t at, char32_t c, bool ignore_case) {
  c = folded(c, ignore_case);
  if (pattern[at] == '?') return 1;
  if (pattern[at] == '[') {
    const std::size_t end = class_end(pattern, at);
    return class_has(pattern.substr(at + 1, end - at - 2), c, ignore_case) ? end - at : 0;
  }
  std::size_t next = at;
  return folded(literal(pattern, next), ignore_case) == c ? next - at : 0;
}

bool match_name(std::string_view pattern, std::string_view name, bool ignore_case) {
  std::size_t p = 0, n = 0, retry_p = kNone, retry_n = 0;
  while (n < name.size()) {
    if (p < pattern.size()) {
      if (pattern[p] == '*') {
        retry_p = ++p;
        retry_n = n;
        continue;
      }
      const CodePoint c = code_point_at(name, n);
      if (const std::size_t used = match_one(pattern, p, c.value, ignore_case); used != 0) {
        p += used;
        n += c.length;
        continue;
      }
    }
    if (retry_p == kNone) return false;
    retry_n += code_point_at(name, retry_n).length;
    n = retry_n;
    p = retry_p;
  }
  while (p < pattern.size() && pattern[p] == '*') ++p;
  return p == pattern.size();
}

}  // namespace

Glob::Glob(std::string_view pattern, bool ignore_case) : pattern_(pattern), ignore_case_(ignore_case) {
  while (pattern.ends_with('/') && !pattern.ends_with("\\/")) pattern.remove_suffix(1);
  if (pattern.find('/') == kNone) parts_.emplace_back(kAnyNames);
  for (std::size_t at = 0; at <= pattern.size();) {
    const std::size_t end = std::min(pattern.find('/', at), pattern.size());
    const std::string_view part = pattern.substr(at, end - at);
    at = end + 1;
    if (part.empty()) continue;
    if (part == kAnyNames && !parts_.empty() && parts_.back() == kAnyNames) continue;
    parts_.push_back(with_closed_classes(part));
  }
}

bool Glob::matches(std::string_view path) const {
  std::size_t part = 0, at = path.empty() ? 1 : 0, retry_part = kNone, retry_at = 0;
  const auto name_end = [&](std::size_t from) { return std::min(path.find('/', from), path.size()); };
  while (part < parts_.size()) {
    if (parts_[part] == kAnyNames) {
      retry_part = ++part;
      retry_at = at;
      continue;
    }
    if (at > path.size()) return false;  // no name is left, and starting later would leave fewer
    const std::size_t end = name_end(at);
    if (match_name(parts_[part], path.substr(at, end - at), ignore_case_)) {
      ++part;
      at = end + 1;
      continue;
    }
    if (retry_part == kNone) return false;
    retry_at = name_end(retry_at) + 1;
    at = retry_at;
    part = retry_part;
  }
  return true;  // what is left of the path lies below a directory that matches
}

GlobSet::GlobSet(const std::vector<std::string>& patterns, bool ignore_case) {
  globs_.reserve(patterns.size());
  for (const std::string& p : patterns) globs_.emplace_back(p, ignore_case);
}

bool GlobSet::matches(std::string_view path) const {
  if (globs_.empty()) return true;
  return std::any_of(globs_.begin(), globs_.end(), [&](const Glob& g) { return g.matches(path); });
}

}  // namespace lacuna
