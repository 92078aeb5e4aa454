// SPDX-License-Identifier: GPL-3.0-or-later
// Globs over paths of a disc.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "lacuna/export.h"

namespace lacuna {

/// `*` and `?` within one name, `[a-z]` and `[!a-z]`, `**` over any number of names, `\` before a literal character.
/// A pattern without '/' matches the last name of a path at any depth; one that matches a directory takes everything
/// below it. A '/' at the start ties the pattern to the root, one at the end has no meaning of its own.
/// Matching is by Unicode code point; letter case counts unless `ignore_case` (ASCII only).
/// Linear in pattern times path, whatever the pattern. Safe for concurrent use.
class LACUNA_API Glob {
 public:
  explicit Glob(std::string_view pattern, bool ignore_case = false);
  bool matches(std::string_view path) const;
  const std::string& pattern() const noexcept { return pattern_; }

 private:
  std::string pattern_;
  std::vector<std::string> parts_;  // "**" for any number of names; in the others every '[' is closed
  bool ignore_case_ = false;
};

/// Several globs, any of which may match; empty matches everything.
class LACUNA_API GlobSet {
 public:
  GlobSet() = default;
  GlobSet(const std::vector<std::string>& patterns, bool ignore_case);
  bool empty() const noexcept { return globs_.empty(); }
  bool matches(std::string_view path) const;
  /// One by one, to tell which of them match nothing: those are mostly typing errors.
  const std::vector<Glob>& globs() const noexcept { return globs_; }

 private:
  std::vector<Glob> globs_;
};

}  // namespace lacuna
