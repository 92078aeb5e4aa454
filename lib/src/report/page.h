// SPDX-License-Identifier: GPL-3.0-or-later
// The parts of a page about one disc. Sentences and short tables are HTML that C++ writes, so that they can be read
// without scripts; what is long or is to be played with is data in columns (page/data.js reads them).
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <string_view>

#include "lacuna/page.h"
#include "lacuna/plan.h"
#include "report/json.h"
#include "report/out.h"
#include "report/survey.h"

namespace lacuna::report {

/// What all parts draw on.
struct PageFacts {
  const PageDisc& page;
  const PictureOptions& picture;
  const SurveyFacts& survey;
  const Plan& plan;
  std::size_t number = 1;  ///< Of the disc on the page.

  const Disc& disc() const { return page.disc; }
  const Tree& tree() const { return page.disc.tree(); }
  const Verdicts& verdicts() const { return page.verdicts; }
};

/// "HARBOUR_1998", else the image's file name.
std::string disc_title(const Disc& disc);
/// "CD", "DVD", "Blu-ray disc".
std::string_view medium_title(Medium medium);

/// HTML: what the disc is, how much of it is whole, what is hurt, what to do next, and cautions.
void put_page_summary(const PageFacts& facts, Out& out);
/// HTML: where all this comes from: image, maps, volumes, evidence, structures, findings.
void put_page_provenance(const PageFacts& facts, Out& out);

/// Most of what hostile or very broken discs could make endless; the page says where something was left out.
inline constexpr std::size_t kMostPageRuns = 200'000;
inline constexpr std::size_t kMostPageStructures = 200'000;
inline constexpr std::size_t kMostPageExtents = 2'000;  // of one file
inline constexpr std::size_t kMostPageGaps = 1'000;     // of one file
inline constexpr std::size_t kMostPageSteps = 20'000;
inline constexpr std::size_t kMostPageStepFiles = 50;  // of one step
inline constexpr std::size_t kMostPageStepRanges = 50;

/// JSON: what lies where, for the picture.
void put_page_disc(const PageFacts& facts, Out& out);
/// JSON: the files and directories.
void put_page_files(const PageFacts& facts, Out& out);
/// JSON: the re-read plan.
void put_page_plan(const PageFacts& facts, Out& out);

/// A row of the overview of a box.
struct BoxRow {
  std::size_t number = 0;  ///< Of the disc on the page; 0: it could not be read.
  std::string image, title, medium, why;
  StateCount all;
  std::array<StateCount, kFileStateCount> states{};
  std::uint64_t hurt_directories = 0;
  Basis basis = Basis::kAssumed;
};
/// HTML.
void put_page_box(const std::vector<BoxRow>& rows, Out& out);
/// HTML: a bar of the states' shares of bytes, and the same in words for who can't see it.
void put_page_bar(const std::array<StateCount, kFileStateCount>& states, Out& out);

}  // namespace lacuna::report
