// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/bag.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "base/utf8.h"
#include "salvage/json_line.h"

namespace lacuna {
namespace {

using namespace std::string_view_literals;

constexpr std::size_t kSha256Digits = 64;
constexpr std::array kOwnLabels{"bagging-date"sv, "bag-software-agent"sv, "bag-size"sv, "payload-oxum"sv,
                                "lacuna-not-whole"sv};

constexpr bool is_blank(char c) { return c == ' ' || c == '\t'; }

/// Well-formed UTF-8 without control characters.
bool is_plain_text(std::string_view text) {
  for (std::size_t at = 0; at < text.size();) {
    const CodePoint c = code_point_at(text, at);
    if (!c.well_formed() || (c.value < 0x20 && c.value != U'\t') || (c.value >= 0x7F && c.value < 0xA0)) return false;
    at += c.length;
  }
  return true;
}

}  // namespace

std::string bag_manifest_line(std::string_view sha256, std::string_view path) {
  std::string out = fmt::format("{}  ", sha256);
  for (const char c : path) {
    if (c == '\n' || c == '\r' || c == '%') {
      out += fmt::format("%{:02X}", static_cast<unsigned char>(c));
    } else {
      out += c;
    }
  }
  return out + '\n';
}

std::optional<std::pair<std::string, std::string>> parse_bag_manifest_line(std::string_view line) {
  if (line.ends_with('\r')) line.remove_suffix(1);
  std::string sum = lower_ascii(line.substr(0, kSha256Digits));
  if (sum.size() != kSha256Digits || sum.find_first_not_of("0123456789abcdef") != std::string::npos) return {};
  line.remove_prefix(kSha256Digits);
  const std::size_t start = line.find_first_not_of(" \t");
  if (start == 0 || start == std::string_view::npos) return {};
  line.remove_prefix(start);
  std::string path;
  while (!line.empty()) {
    const std::string code = lower_ascii(line.substr(0, 3));
    const char decoded = code == "%0a" ? '\n' : code == "%0d" ? '\r' : code == "%25" ? '%' : '\0';
    path += decoded != '\0' ? decoded : line[0];
    line.remove_prefix(decoded != '\0' ? 3 : 1);
  }
  return std::pair(std::move(sum), std::move(path));
}

std::string bag_info_line(const BagElement& element) { return fmt::format("{}: {}\n", element.label, element.value); }

bool parse_bag_info_line(std::string_view line, std::vector<BagElement>& elements) {
  if (line.ends_with('\r')) line.remove_suffix(1);
  if (!is_plain_text(line)) return false;
  if (!line.empty() && is_blank(line[0])) {
    if (elements.empty()) return false;
    line.remove_prefix(std::min(line.find_first_not_of(" \t"), line.size()));
    elements.back().value += fmt::format(" {}", line);
    return true;
  }
  const std::size_t colon = line.find(':');
  if (colon == std::string_view::npos || colon == 0 || is_blank(line[colon - 1])) return false;
  if (colon + 1 < line.size() && !is_blank(line[colon + 1])) return false;
  elements.push_back({std::string(line.substr(0, colon)), std::string(line.substr(std::min(colon + 2, line.size())))});
  return true;
}

bool is_own_bag_label(std::string_view label) {
  const std::string lower = lower_ascii(label);  // labels of one name in other letters are one (RFC 8493, 2.2.2)
  return std::find(kOwnLabels.begin(), kOwnLabels.end(), lower) != kOwnLabels.end();
}

std::string bag_size(std::uint64_t bytes) {
  constexpr std::array kUnits{"B"sv, "kB"sv, "MB"sv, "GB"sv, "TB"sv, "PB"sv, "EB"sv};
  auto value = static_cast<double>(bytes);
  std::size_t unit = 0;
  for (; value >= 999.95 && unit + 1 < kUnits.size(); ++unit) value /= 1000;
  return unit == 0 ? fmt::format("{} B", bytes) : fmt::format("{:.1f} {}", value, kUnits[unit]);
}

Result<BagElement> parse_bag_element(std::string_view text) {
  const auto wrong = [&](std::string_view why) {
    std::string shown = valid_utf8(text);
    std::replace_if(
        shown.begin(), shown.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20; }, '?');
    return Error{ErrorCode::kUsage, fmt::format("'{}' {}", shown, why)};
  };
  if (!is_plain_text(text)) return wrong("holds a line break, a control character or bytes that are no UTF-8");
  std::vector<BagElement> elements;
  if (text.empty() || is_blank(text[0]) || !parse_bag_info_line(text, elements)) {
    return wrong(
        "is no element of bag-info.txt; write 'Label: value', without a space before the colon, and with one "
        "behind it");
  }
  BagElement& element = elements.front();
  const std::size_t last = element.value.find_last_not_of(" \t");
  element.value.erase(last == std::string::npos ? 0 : last + 1);
  if (element.value.empty()) return wrong("has no value");
  if (is_own_bag_label(element.label)) return wrong("names what Lacuna writes itself");
  return std::move(element);
}

}  // namespace lacuna
