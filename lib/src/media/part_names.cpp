// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/part_names.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <charconv>
#include <system_error>

namespace lacuna {
namespace {

constexpr std::size_t kMaxDigits = 9;

bool is_digit(char c) { return c >= '0' && c <= '9'; }

bool ends_like_part(const std::string& stem) {
  if (stem.size() > 1 && stem.back() == '.') return true;
  constexpr std::string_view kPart = ".part";
  if (stem.size() <= kPart.size()) return false;
  return std::equal(kPart.begin(), kPart.end(), stem.end() - static_cast<std::ptrdiff_t>(kPart.size()),
                    [](char a, char b) { return a == std::tolower(static_cast<unsigned char>(b)); });
}

}  // namespace

std::optional<PartName> PartName::parse(const std::filesystem::path& path) {
  const std::string name = path.filename().string();
  std::size_t digits_at = name.size();
  while (digits_at > 0 && is_digit(name[digits_at - 1])) --digits_at;
  PartName part{path.parent_path(), name.substr(0, digits_at), 0, name.size() - digits_at};
  if (part.width == 0 || part.width > kMaxDigits || !ends_like_part(part.stem)) return std::nullopt;
  std::from_chars(name.data() + digits_at, name.data() + name.size(), part.number);
  return part;
}

std::filesystem::path PartName::path_of(std::uint64_t other_number) const {
  return folder / fmt::format("{}{:0{}}", stem, other_number, width);
}

bool PartName::same_set(const PartName& other) const {
  if (folder != other.folder || stem != other.stem) return false;
  const PartName& narrow = width <= other.width ? *this : other;
  const PartName& wide = width <= other.width ? other : *this;
  return narrow.path_of(wide.number) == wide.path_of(wide.number);
}

std::vector<std::uint64_t> numbers_beside(const PartName& name) {
  std::vector<std::uint64_t> numbers{name.number};
  std::error_code error;
  std::filesystem::directory_iterator entries(name.folder.empty() ? "." : name.folder, error);
  for (; !error && entries != std::filesystem::directory_iterator(); entries.increment(error)) {
    std::optional<PartName> other = PartName::parse(entries->path());
    if (!other) continue;
    other->folder = name.folder;
    if (other->number != name.number && name.same_set(*other)) numbers.push_back(other->number);
  }
  if (error) {  // a folder that can be entered but not listed
    for (std::uint64_t n = name.number + 1; std::filesystem::exists(name.path_of(n), error); ++n) numbers.push_back(n);
  }
  std::sort(numbers.begin(), numbers.end());
  numbers.erase(std::unique(numbers.begin(), numbers.end()), numbers.end());
  return numbers;
}

}  // namespace lacuna
