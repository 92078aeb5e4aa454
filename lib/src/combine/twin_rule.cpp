// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/twin_rule.h"

#include <algorithm>
#include <array>

#include "base/utf8.h"
#include "lacuna/verdict.h"

namespace lacuna {
namespace {

constexpr std::size_t kShortestTellingBlock = 256;

std::string twin_name(const Tree& tree, const Node& n, std::size_t view) {
  return lower_ascii(tree.text(n.names[view]));
}

bool has_long_name(const Node& n) {
  for (std::size_t v = 0; v < n.names.size(); ++v) {
    if (v != static_cast<std::size_t>(View::kIso9660) && n.names[v].length != 0) return true;
  }
  return false;
}

}  // namespace

bool tells_something(std::span<const std::uint8_t> block) noexcept {
  return block.size() >= kShortestTellingBlock && uniform_period(block) == 0;
}

bool same_date(const Timestamp& a, const Timestamp& b) noexcept {
  if (!a.known || !b.known) return false;
  if (a.nanoseconds != 0 && b.nanoseconds != 0 && a.nanoseconds != b.nanoseconds) return false;
  if (a.seconds == b.seconds) return true;
  // Many writers record the wall clock and say nothing of its zone.
  const auto wall_clock = [](const Timestamp& t) { return t.seconds + std::int64_t{t.zone_minutes} * 60; };
  return (a.zone_minutes == 0 || b.zone_minutes == 0) && wall_clock(a) == wall_clock(b);
}

bool same_name(const Tree& tree_a, const Node& a, const Tree& tree_b, const Node& b) {
  const bool long_only = has_long_name(a) && has_long_name(b);
  const auto counts = [&](const Node& n, std::size_t view) {
    return n.names[view].length != 0 && !(long_only && view == static_cast<std::size_t>(View::kIso9660));
  };
  for (std::size_t v = 0; v < a.names.size(); ++v) {
    if (!counts(a, v)) continue;
    const std::string name = twin_name(tree_a, a, v);
    for (std::size_t w = 0; w < b.names.size(); ++w) {
      if (counts(b, w) && twin_name(tree_b, b, w) == name) return true;
    }
  }
  return false;
}

std::vector<std::string> name_keys(const Tree& tree, const Node& n) {
  std::vector<std::string> keys;
  for (std::size_t v = 0; v < n.names.size(); ++v) {
    if (n.names[v].length == 0) continue;
    std::string key = twin_name(tree, n, v);
    if (std::find(keys.begin(), keys.end(), key) == keys.end()) keys.push_back(std::move(key));
  }
  return keys;
}

}  // namespace lacuna
