// SPDX-License-Identifier: GPL-3.0-or-later
// CompletedReader: a file's bytes, those that it lacks here taken from a completion.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "lacuna/completions.h"
#include "lacuna/content.h"

namespace lacuna {

/// Reads like a FileReader. For one thread.
class CompletedReader {
 public:
  /// Without `completions` (null) it is the plain reader.
  CompletedReader(const Disc& disc, NodeId file, const Completions* completions)
      : own_(disc, file),
        file_(file),
        completions_(completions),
        completion_(completions == nullptr ? nullptr : completions->of(file)) {}

  /// As FileReader::read(). What is completed is in no gap; what was to be and can't be had any more is bad.
  std::size_t read(std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps);

 private:
  void complete(const Gap& gap, std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps) const;

  FileReader own_;
  NodeId file_;
  const Completions* completions_;
  const Completion* completion_;
  std::vector<Gap> found_;
};

}  // namespace lacuna
