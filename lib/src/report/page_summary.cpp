// SPDX-License-Identifier: GPL-3.0-or-later
// What a page says first about a disc, in plain sentences: what it is, how much of it is whole, what is hurt, what to
// do.
#include <algorithm>
#include <array>
#include <filesystem>

#include "report/basis.h"
#include "report/html.h"
#include "report/page.h"
#include "report/words.h"

namespace lacuna::report {
namespace {

using namespace std::string_view_literals;

std::string_view view_title(View v) {
  switch (v) {
    case View::kRockRidge:
      return "Rock Ridge";
    case View::kUdf:
      return "UDF";
    case View::kJoliet:
      return "Joliet";
    case View::kEnhanced:
      return "ISO 9660:1999";
    case View::kIso9660:
      return "ISO 9660";
  }
  return "";
}

constexpr std::array<std::string_view, kFileStateCount> kMeanings{
    "every byte is in its place and was read", "every byte is there, but something speaks against some of it",
    "some bytes are missing", "no byte of it is there", "the name is known, where its data lies is not"};

/// "a, b and c".
std::string listed(const std::vector<std::string>& words) {
  std::string text;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i != 0) text += i + 1 == words.size() ? " and " : ", ";
    text += words[i];
  }
  return text;
}

class PageSummary {
 public:
  PageSummary(const PageFacts& facts, Out& out)
      : facts_(facts), survey_(facts.survey), counts_(facts.verdicts().counts()), out_(out) {}

  void put() {
    out_.print("<section class=\"summary\" aria-labelledby=\"d{0}-short\">\n<h3 id=\"d{0}-short\">In short</h3>\n",
               facts_.number);
    basis();
    out_.print("<p class=\"verdict\">{}</p>\n", verdict());
    put_page_bar(counts_, out_);
    out_.print("<p>{}</p>\n", html(what_it_is()));
    const std::string hurt = what_is_hurt();
    if (!hurt.empty()) out_.print("<p>{}</p>\n", html(hurt));
    states();
    out_.add("</section>\n");
    next();
  }

 private:
  const StateCount& of(FileState s) const { return counts_[static_cast<std::size_t>(s)]; }

  void basis() {
    const std::string text = basis_statement(facts_.verdicts().basis(), facts_.page.context);
    if (!text.empty()) out_.print("<p class=\"note\" role=\"note\">{}</p>\n", html_lines(text));
  }
  /// The lines of a text for terminals, joined.
  static std::string html_lines(std::string text) {
    std::ranges::replace(text, '\n', ' ');
    return html(text.substr(0, text.find_last_not_of(' ') + 1));
  }

  std::string verdict() const {
    const std::uint64_t all = survey_.all_files.files, whole = of(FileState::kWhole).files;
    if (all == 0) return "No file was found on this disc.";
    if (whole == all && facts_.verdicts().hurt_directories() != 0) {
      return fmt::format("All {} that could be found {} whole.", counted(all, "file"), all == 1 ? "is" : "are");
    }
    if (whole == all) return all == 1 ? "The one file is whole." : fmt::format("All {} files are whole.", grouped(all));
    if (whole == 0) return fmt::format("None of {} is whole.", counted(all, "file"));
    return fmt::format("{} of {} {} whole.", grouped(whole), counted(all, "file"), whole == 1 ? "is" : "are");
  }

  std::string what_it_is() const {
    const Disc& disc = facts_.disc();
    const Volume* volume = disc.main_volume();
    std::string text = fmt::format("This is the image of a {} with {} in {}, {} in all",
                                   medium_title(facts_.plan.medium), counted(survey_.all_files.files, "file"),
                                   counted(survey_.directories, "folder"), human_bytes(survey_.all_files.bytes));
    Dates dates;
    if (volume != nullptr && volume->created.known) {
      text += fmt::format(". Its label is dated {}", dates.minute(volume->created).substr(0, 10));
    }
    std::vector<std::string> views;
    for (const View v : survey_.views) views.emplace_back(view_title(v));
    if (!views.empty()) text += fmt::format(". Its names come from {}", listed(views));
    if (disc.sessions().size() > 1) text += fmt::format(". It has {} sessions", grouped(disc.sessions().size()));
    return text + '.';
  }

  std::string what_is_hurt() const {
    std::vector<std::string> hurt;
    const auto add = [&hurt](std::uint64_t files, std::string_view what) {
      if (files != 0) hurt.push_back(fmt::format("{} {} {}", counted(files, "file"), files == 1 ? "is" : "are", what));
    };
    add(of(FileState::kDoubtful).files, "doubtful");
    add(of(FileState::kDamaged).files, "damaged");
    add(of(FileState::kLost).files, "lost");
    add(of(FileState::kUnlocated).files, "known by name only");
    std::string text = hurt.empty() ? std::string{} : listed(hurt) + '.';
    const auto sectors = [this](SectorState s) { return survey_.sectors[static_cast<std::size_t>(s)]; };
    const std::uint64_t gone =
        sectors(SectorState::kBad) + sectors(SectorState::kUnread) + sectors(SectorState::kAbsent);
    if (gone != 0) {
      text += fmt::format(" {} of {} can't be had ({}).", grouped(gone), counted(survey_.sectors_in_all, "sector"),
                          share(gone, survey_.sectors_in_all));
    }
    if (survey_.all_files.missing_bytes != 0) {
      text += fmt::format(" They take {} of the files' bytes.", human_bytes(survey_.all_files.missing_bytes));
    }
    if (const std::uint64_t folders = facts_.verdicts().hurt_directories(); folders != 0) {
      text += fmt::format(" {} could not be read in full: there may be files that nothing names.",
                          counted(folders, "folder"));
    }
    return text.substr(std::min(text.find_first_not_of(' '), text.size()));
  }

  void states() {
    if (survey_.all_files.files == 0) return;
    out_.add(
        "<table class=\"states\"><caption class=\"quiet\">Files by state</caption><thead><tr><th "
        "scope=\"col\">State</th>"
        "<th scope=\"col\" class=\"n\">Files</th><th scope=\"col\" class=\"n\">Size</th>"
        "<th scope=\"col\" class=\"n\">Missing</th><th scope=\"col\" "
        "class=\"wide\">Meaning</th></tr></thead><tbody>\n");
    for (std::size_t i = 0; i < counts_.size(); ++i) {
      const StateCount& c = counts_[i];
      if (c.files == 0) continue;
      out_.print(
          "<tr><th scope=\"row\"><span class=\"state\" data-state=\"{0}\">{1}</span></th><td class=\"n\">{2}</td>"
          "<td class=\"n\">{3}</td><td class=\"n\">{4}</td><td class=\"wide\">{5}</td></tr>\n",
          i, to_string(static_cast<FileState>(i)), grouped(c.files), human_bytes(c.bytes),
          c.missing_bytes == 0 ? "" : human_bytes(c.missing_bytes), kMeanings[i]);
    }
    out_.add("</tbody></table>\n");
  }

  void next() {
    out_.print("<section class=\"next\" aria-labelledby=\"d{0}-next\">\n<h3 id=\"d{0}-next\">What to do next</h3>\n",
               facts_.number);
    const std::vector<Step> steps = next_steps(facts_.disc(), facts_.verdicts(), survey_, facts_.page.context);
    if (steps.empty()) out_.add("<p>Nothing: no file is known.</p>\n");
    if (!steps.empty()) {
      out_.add("<ol>\n");
      for (const Step& step : steps) {
        out_.print("<li>{}{}</li>\n", html(step.text),
                   step.command.empty() ? "" : fmt::format("<code>{}</code>", html(step.command)));
      }
      out_.add("</ol>\n");
    }
    out_.print("<h3 id=\"d{}-care\">Take care</h3>\n<ul class=\"care\">\n", facts_.number);
    for (const std::string& text : page_cautions()) out_.print("<li>{}</li>\n", html(text));
    out_.add("</ul>\n</section>\n");
  }

  /// The survey's, and those that matter to whoever is handed this page.
  std::vector<std::string> page_cautions() const {
    std::vector<std::string> all = cautions(survey_);
    all.emplace_back("Nothing on this page is evidence for a court: for that, turn to a licensed examiner.");
    all.emplace_back("Copyright still holds for what the disc carries; what is encrypted is not decrypted.");
    return all;
  }

  const PageFacts& facts_;
  const SurveyFacts& survey_;
  const std::array<StateCount, kFileStateCount>& counts_;
  Out& out_;
};

}  // namespace

std::string disc_title(const Disc& disc) {
  const Volume* volume = disc.main_volume();
  if (volume != nullptr && !volume->volume_id.empty()) return volume->volume_id;
  return std::filesystem::path(disc.image().name()).filename().string();
}

std::string_view medium_title(Medium medium) {
  return medium == Medium::kCd ? "CD"sv : medium == Medium::kDvd ? "DVD"sv : "Blu-ray disc"sv;
}

void put_page_bar(const std::array<StateCount, kFileStateCount>& states, Out& out) {
  std::uint64_t files = 0;
  std::string words;
  for (std::size_t i = 0; i < states.size(); ++i) {
    files += states[i].files;
    if (states[i].files == 0) continue;
    words += fmt::format("{}{} {}", words.empty() ? "" : ", ", grouped(states[i].files),
                         to_string(static_cast<FileState>(i)));
  }
  if (files == 0) return;
  // Drawn in whole units, so that the same numbers give the same page. What there is, is seen: no part is below 4
  // units.
  constexpr std::uint64_t kUnits = 1000, kLeast = 4;
  out.print("<svg class=\"bar\" viewBox=\"0 0 {} 10\" preserveAspectRatio=\"none\" role=\"img\" aria-label=\"{}\">",
            kUnits, words);
  std::uint64_t at = 0, left = files, room = kUnits;
  for (std::size_t i = 0; i < states.size(); ++i) {
    if (states[i].files == 0) continue;
    const double part = static_cast<double>(states[i].files) / static_cast<double>(left);
    auto width = static_cast<std::uint64_t>(part * static_cast<double>(room) + 0.5);
    left -= states[i].files;
    std::uint64_t others = 0;  // Room that those behind it need.
    for (std::size_t k = i + 1; k < states.size(); ++k) others += states[k].files != 0 ? kLeast : 0;
    width = std::clamp(width, kLeast, room - others);
    out.print("<rect class=\"{}\" x=\"{}\" width=\"{}\" height=\"10\"/>", to_string(static_cast<FileState>(i)), at,
              width);
    at += width;
    room -= width;
  }
  out.add("</svg>\n");
}

void put_page_summary(const PageFacts& facts, Out& out) { PageSummary(facts, out).put(); }

}  // namespace lacuna::report
