// SPDX-License-Identifier: GPL-3.0-or-later
// The names of numbered parts: x.001 x.002 …, x.iso.001, x.00, x.1, x.part1.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace lacuna {

/// A name that ends in '.' or ".part" and a number of at most nine digits.
struct PartName {
  std::filesystem::path folder;
  std::string stem;  ///< All before the digits.
  std::uint64_t number = 0;
  std::size_t width = 0;  ///< Digits, leading zeros among them.

  static std::optional<PartName> parse(const std::filesystem::path& path);
  /// The path of another part: the number with at least `width` digits (x.9 x.10, x.099 x.100, x.999 x.1000).
  std::filesystem::path path_of(std::uint64_t other_number) const;
  /// True when both belong to one set.
  bool same_set(const PartName& other) const;
};

/// The numbers, ascending, for which the folder of `name` holds a part of its set; that of `name` itself is among them.
std::vector<std::uint64_t> numbers_beside(const PartName& name);

}  // namespace lacuna
