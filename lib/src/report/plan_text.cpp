// SPDX-License-Identifier: GPL-3.0-or-later
// The plan for people: one table that fits a page, whatever the number of steps. Rows stand for more steps the further
// down they are, because the first steps are those that count.
#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "report/basis.h"
#include "report/plan.h"
#include "report/survey.h"
#include "report/words.h"

namespace lacuna::report {
namespace {

constexpr std::size_t kWhatColumns = 40;

/// [first, end) of the steps.
struct Row {
  std::size_t first = 0, end = 0;
};

/// `count` steps from `first` on, in at most `rows` rows of growing length.
void cut_into_rows(std::size_t first, std::size_t count, std::size_t rows, std::vector<Row>& out) {
  if (rows == 0 || count <= rows) rows = count;
  std::size_t done = 0;
  for (std::size_t k = 1; k <= rows; ++k) {
    const double share = std::pow(static_cast<double>(count), static_cast<double>(k) / static_cast<double>(rows));
    // At least one step each, and enough left for the rows behind.
    std::size_t end = std::max(done + 1, static_cast<std::size_t>(share));
    end = k == rows ? count : std::min(end, count - (rows - k));
    out.push_back({first + done, first + end});
    done = end;
  }
}

/// The end of a path is what tells files apart.
std::string cut_front(const std::string& text, std::size_t columns) {
  if (text.size() <= columns) return text;
  std::size_t from = text.size() - (columns - 3);
  while (from < text.size() && (static_cast<unsigned char>(text[from]) & 0xc0) == 0x80) ++from;
  return "..." + text.substr(from);
}

class PlanText {
 public:
  PlanText(const PlanFacts& facts, Out& out)
      : disc_(facts.disc), plan_(facts.plan), facts_(facts), totals_(facts.plan.totals()), out_(out) {}

  void write() {
    if (const std::string basis = basis_statement(facts_.verdicts.basis(), facts_.context); !basis.empty()) {
      out_.add(basis);
      out_.add('\n');
    }
    head();
    if (!plan_.steps.empty()) table();
    not_in_it();
    if (!plan_.steps.empty()) next();
  }

 private:
  void row(std::string_view label, std::string_view text) { out_.print("  {:<11} {}\n", label, shown(text)); }

  void head() {
    const Volume* volume = disc_.main_volume();
    out_.print("READ AGAIN   {}\n",
               volume == nullptr || volume->volume_id.empty() ? "(no name)" : shown(volume->volume_id));
    row("image", disc_.image().name());
    constexpr std::array<std::string_view, 4> kNames{"", "CD", "DVD", "Blu-ray disc"};
    const std::string_view medium = kNames[static_cast<std::size_t>(plan_.medium)];
    row("medium", plan_.block_sectors == 1
                      ? std::string(medium) + ": each sector can be read by itself"
                      : fmt::format("{}: a drive reads blocks of {} sectors", medium, plan_.block_sectors));
    if (!plan_.medium_why.empty()) row("", "(a guess: " + plan_.medium_why + "; --medium tells)");
    if (plan_.steps.empty()) {
      row("worth a try", plan_.sectors_not_good == 0 ? "nothing: no sector is known to be hurt"
                                                     : "nothing that is hurt would name, place or complete a file");
      return;
    }
    row("not good", counted(plan_.sectors_not_good, "sector"));
    row("worth a try", fmt::format("{}{}", counted(totals_.sectors, "sector"),
                                   plan_.block_sectors == 1 ? "" : ", whole blocks with all in them"));
    row("would bring", reached(totals_));
  }

  /// "12 more files whole, 31 MB; 3 complete but doubtful; about 40 named".
  static std::string reached(const PlanTotals& t) {
    std::string text;
    const auto add = [&text](const std::string& more) { text.append(text.empty() ? "" : "; ").append(more); };
    if (t.files_whole != 0) {
      add(fmt::format("{} whole, {}", counted(t.files_whole, "more file"), human_bytes(t.bytes_whole)));
    }
    if (t.files_doubtful != 0) add(grouped(t.files_doubtful) + " complete but doubtful");
    if (t.names != 0) add(fmt::format("about {} named or placed", counted(t.names, "file")));
    return text.empty() ? "no file" : text;
  }

  void table() {
    out_.print("\n  {:>9}  {:<47}  {}\n", "SECTORS", "BRING", "READING WHAT IS MISSING OF");
    for (const Row& r : rows()) {
      const PlanStep& last = plan_.steps[r.end - 1];
      out_.print("  {:>9}  {:<47}  {}\n", grouped(last.so_far.sectors), reached_short(last.so_far), shown(what(r)));
    }
  }

  std::vector<Row> rows() const {
    std::vector<Row> rows;
    for (std::size_t first = 0; first < plan_.steps.size();) {
      std::size_t end = first;
      while (end < plan_.steps.size() && plan_.steps[end].reason == plan_.steps[first].reason) ++end;
      // A third each for structures and for wanted files, what is left for others.
      std::size_t most = facts_.report.rows;
      if (most != 0) {
        if (end != plan_.steps.size()) most = std::max<std::size_t>(1, most / 3);
        if (end == plan_.steps.size() && first != 0) most = most > rows.size() ? most - rows.size() : 1;
      }
      cut_into_rows(first, end - first, most, rows);
      first = end;
    }
    return rows;
  }

  static std::string reached_short(const PlanTotals& t) {
    if (t.files_whole + t.files_doubtful == 0) {
      return t.names == 0 ? "" : fmt::format("about {} named or placed", counted(t.names, "file"));
    }
    std::string text = fmt::format("{} whole, {}", counted(t.files_whole, "more file"), human_bytes(t.bytes_whole));
    if (t.files_doubtful != 0) text += fmt::format(", {} doubtful", grouped(t.files_doubtful));
    return text;
  }

  /// What the steps of a row read, by the first thing that they complete.
  std::string what(const Row& r) const {
    std::uint64_t files = 0, structures = 0;
    std::string first;
    for (std::size_t i = r.first; i < r.end; ++i) {
      const PlanStep& s = plan_.steps[i];
      files += s.file_count;
      structures += s.structure_count;
      if (!first.empty() || s.file_count + s.structure_count == 0) continue;
      first = s.structure_count != 0 ? structure_title(disc_, plan_.structures_of(s).front().structure)
                                     : disc_.tree().path(plan_.files_of(s).front());
    }
    if (first.empty()) return "what nothing known uses";
    std::string more;
    const std::uint64_t others = files + structures - 1;
    if (others != 0) more = fmt::format(" and {} more", grouped(others));
    return cut_front(first, kWhatColumns - std::min(more.size(), kWhatColumns / 2)) + more;
  }

  void not_in_it() {
    const PlanLeft& left = plan_.left;
    std::vector<std::string> lines;
    const auto files = [&lines](std::uint64_t n, std::string_view why) {
      if (n != 0) lines.push_back(fmt::format("{}: {}", counted(n, "file"), why));
    };
    files(left.files_unplaced, "no sector that is known would complete them");
    files(left.files_outside, "said to lie where this medium has no sectors");
    files(left.files_skipped, "left out on request");
    files(left.files_over_budget, "more than the budget");
    files(left.files_tangled, "claim the same sectors as others so often that they were left out");
    if (left.structures_known != 0) {
      lines.push_back(counted(left.structures_known, "structure") +
                      " of which all that matters is known from elsewhere");
    }
    if (left.structures_over_budget != 0) {
      lines.push_back(counted(left.structures_over_budget, "structure") + ": more than the budget");
    }
    if (left.structures_tangled != 0) {
      lines.push_back(counted(left.structures_tangled, "structure") + ": claim the same sectors as others too often");
    }
    const bool has_rest = !plan_.steps.empty() && plan_.steps.back().reason == PlanReason::kRest;
    if (left.sectors_idle != 0 && !has_rest) {
      lines.push_back(counted(left.sectors_idle, "sector that is", "sectors that are") +
                      " not good: nothing of the above needs them (--all reads them last)");
    }
    if (lines.empty()) return;
    out_.add("\nNOT IN THE PLAN\n");
    for (const std::string& line : lines) out_.print("  {}\n", line);
  }

  void next() {
    const std::string image =
        facts_.context.image_arguments.empty() ? shell_quoted(disc_.image().name()) : facts_.context.image_arguments;
    out_.add("\nWHAT NEXT\n  The sectors in this order, for whatever reads the disc\n");
    out_.print("       lacuna plan {} --format list\n", shown(image));
    if (!facts_.report.combine_image.empty()) {
      out_.add("  Or read them from a drive in this order, into a better image\n");
      out_.print("       lacuna combine --to BETTER.iso {} /dev/sr0\n", shown(facts_.report.combine_image));
    }
    out_.add(
        "  Then plan again: what could be read changes what is worth most.\n"
        "\nTAKE CARE\n"
        "  Never spin a cracked or delaminating disc: it can shatter in the drive.\n"
        "  Another drive, of another maker or type, often reads what the first can't: try that first.\n"
        "  Trying again and again heats disc and drive: a few tries, then let them rest.\n"
        "  Keep the disc and this image as they are, whatever has been read from them.\n");
  }

  const Disc& disc_;
  const Plan& plan_;
  const PlanFacts& facts_;
  const PlanTotals totals_;
  Out& out_;
};

}  // namespace

void plan_as_text(const PlanFacts& facts, Out& out) { PlanText(facts, out).write(); }

}  // namespace lacuna::report
