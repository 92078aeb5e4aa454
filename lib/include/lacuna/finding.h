// SPDX-License-Identifier: GPL-3.0-or-later
// Findings: damage and disagreement that the reading survived, as data. Nothing here is ever printed by the library.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/export.h"

namespace lacuna {

enum class Severity : std::uint8_t {
  kNote,   ///< Against the standard, without consequence for any file.
  kDoubt,  ///< Facts disagree; a choice was made and is shown.
  kLoss,   ///< Something could not be read, so that names or data may be missing.
};

/// One thing that was found while reading a disc.
struct LACUNA_API Finding {
  Severity severity = Severity::kNote;
  std::string kind;                  ///< Stable key for scripts, such as "both-endian" or "directory-unreadable".
  std::string subject;               ///< The structure or path it is about.
  std::optional<std::uint64_t> lba;  ///< First sector concerned.
  std::string clause;                ///< "ECMA-119 9.1.3"; empty when no clause applies.
  std::string text;                  ///< What was found and what was done about it, one line.
};

/// A bounded list: hostile images can provoke one finding a record, so each kind is kept kPerKind times and then
/// counted only. Not safe for concurrent use.
class LACUNA_API Findings {
 public:
  static constexpr std::size_t kPerKind = 200;

  void add(Finding f) {
    const std::uint64_t seen = ++counts_[f.kind];
    if (seen <= kPerKind) list_.push_back(std::move(f));
  }
  void add(const Findings& other) {
    for (const Finding& f : other.list_) {
      if (counts_[f.kind] < kPerKind) list_.push_back(f);
      ++counts_[f.kind];
    }
    for (const auto& [kind, count] : other.counts_) {
      if (count > kPerKind) counts_[kind] += count - kPerKind;
    }
  }

  /// True when the kind has been kept so often that a further one would only be counted.
  bool full(const std::string& kind) const {
    const auto it = counts_.find(kind);
    return it != counts_.end() && it->second >= kPerKind;
  }

  const std::vector<Finding>& list() const noexcept { return list_; }
  /// How often each kind was met, kept or not.
  const std::map<std::string, std::uint64_t>& counts() const noexcept { return counts_; }
  bool empty() const noexcept { return list_.empty(); }

 private:
  std::vector<Finding> list_;
  std::map<std::string, std::uint64_t> counts_;
};

}  // namespace lacuna
