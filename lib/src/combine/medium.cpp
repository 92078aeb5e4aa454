// SPDX-License-Identifier: GPL-3.0-or-later
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string_view>

#include "combine/capacity.h"
#include "lacuna/plan.h"

namespace lacuna {
namespace {

using namespace std::string_view_literals;

constexpr std::array kMediumWords{"auto"sv, "cd"sv, "dvd"sv, "bd"sv};

std::string_view medium_name(Medium m) { return m == Medium::kCd ? "CD" : m == Medium::kDvd ? "DVD" : "Blu-ray disc"; }

std::string with_commas(std::uint64_t number) {
  std::string text = fmt::to_string(number);
  for (std::size_t at = text.size(); at > 3;) text.insert(at -= 3, 1, ',');
  return text;
}

MediumGuess medium_by(const Image& image, const Volume* volume) {
  if (image.raw() != nullptr) return {Medium::kCd, "the image has tracks or raw sectors of a CD"};
  if (volume != nullptr && volume->udf) {
    const std::string& said = volume->udf->medium;
    for (const auto& [word, medium] :
         {std::pair("CD"sv, Medium::kCd), {"DVD"sv, Medium::kDvd}, {"BD"sv, Medium::kBd}}) {
      if (said.starts_with(word)) return {medium, fmt::format("the UDF volume looks like one for {}", said)};
    }
  }
  std::uint64_t sectors = image.end_lba();
  // A volume that lies says nothing: no medium holds more than the largest.
  const std::uint64_t said = volume == nullptr ? 0 : volume->space_bytes / kSectorBytes;
  if (said <= combine::capacity_sectors(Medium::kBd)) sectors = std::max(sectors, said);
  for (const Medium m : {Medium::kCd, Medium::kDvd}) {
    if (sectors > combine::capacity_sectors(m)) continue;
    return {m, fmt::format("its {} sectors fit on a {}", with_commas(sectors), medium_name(m))};
  }
  return {Medium::kBd, fmt::format("its {} sectors fit on no DVD", with_commas(sectors))};
}

}  // namespace

std::string_view to_string(Medium m) noexcept { return kMediumWords[static_cast<std::size_t>(m)]; }

std::optional<Medium> medium_from(std::string_view word) noexcept {
  for (std::size_t i = 0; i < kMediumWords.size(); ++i) {
    if (kMediumWords[i] == word) return static_cast<Medium>(i);
  }
  return {};
}

std::uint32_t block_sectors(Medium m) noexcept { return m == Medium::kDvd ? 16 : m == Medium::kBd ? 32 : 1; }

MediumGuess guess_medium(const Disc& disc) { return medium_by(disc.image(), disc.main_volume()); }
MediumGuess guess_medium(const Image& image) { return medium_by(image, nullptr); }

namespace combine {

std::uint64_t capacity_sectors(Medium m) noexcept {
  switch (m) {
    case Medium::kCd:
      return 449'849;
    case Medium::kDvd:
      return 4'173'824;
    default:
      return 62'500'864;
  }
}

}  // namespace combine
}  // namespace lacuna
