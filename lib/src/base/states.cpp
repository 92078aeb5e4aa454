// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/states.h"

#include <array>

namespace lacuna {
namespace {

constexpr std::array<std::string_view, kSectorStateCount> kSectorWords{"good", "repaired", "suspect",
                                                                       "bad",  "unread",   "absent"};
constexpr std::array<std::string_view, kFileStateCount> kFileWords{"whole", "doubtful", "damaged", "lost", "unlocated"};
constexpr std::array<std::string_view, kViewCount> kViewWords{"rockridge", "udf", "joliet", "enhanced", "iso9660"};
constexpr std::array<std::string_view, 6> kEvidenceWords{"tree", "view", "pathtable", "session", "scan", "twin"};
constexpr std::array<std::string_view, 3> kBasisWords{"edc", "map", "assumed"};

template <class Words, class State>
std::string_view word_of(const Words& words, State state) noexcept {
  return words[static_cast<std::size_t>(state)];
}

template <class State, class Words>
std::optional<State> find_word(const Words& words, std::string_view word) noexcept {
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (words[i] == word) return static_cast<State>(i);
  }
  return std::nullopt;
}

}  // namespace

std::string_view to_string(SectorState s) noexcept { return word_of(kSectorWords, s); }
std::string_view to_string(FileState s) noexcept { return word_of(kFileWords, s); }
std::string_view to_string(View v) noexcept { return word_of(kViewWords, v); }
std::string_view to_string(Evidence e) noexcept { return word_of(kEvidenceWords, e); }
std::string_view to_string(Basis b) noexcept { return word_of(kBasisWords, b); }

std::optional<SectorState> sector_state_from(std::string_view word) noexcept {
  return find_word<SectorState>(kSectorWords, word);
}
std::optional<FileState> file_state_from(std::string_view word) noexcept {
  return find_word<FileState>(kFileWords, word);
}
std::optional<View> view_from(std::string_view word) noexcept { return find_word<View>(kViewWords, word); }

}  // namespace lacuna
