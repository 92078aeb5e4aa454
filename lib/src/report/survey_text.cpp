// SPDX-License-Identifier: GPL-3.0-or-later
// The survey for a tired person: what this disc is, what is hurt, what can be had, what to do next. Each section says
// its sum first; lists are cut short, hits and JSON have them in full.
#include <algorithm>
#include <array>
#include <numeric>

#include "report/basis.h"
#include "report/out.h"
#include "report/survey.h"
#include "report/tracks.h"
#include "report/words.h"

namespace lacuna::report {
namespace {

constexpr std::size_t kShown = 8;     // Of a list in a section.
constexpr std::size_t kColumns = 88;  // Of texts that the disc brought; JSON has them in full.

std::string cut(std::string text) {
  if (text.size() <= kColumns) return text;
  std::size_t end = kColumns - 3;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xc0) == 0x80) --end;  // Not within a character.
  return text.substr(0, end) + "...";
}

class SurveyText {
 public:
  SurveyText(const Survey& survey, Out& out)
      : disc_(survey.disc), verdicts_(survey.verdicts), context_(survey.context), facts_(survey.facts), out_(out) {}

  void write() {
    if (const std::string basis = basis_statement(verdicts_.basis(), context_); !basis.empty()) {
      out_.add(basis);
      out_.add('\n');
    }
    disc();
    sectors();
    tracks();
    structures();
    directories();
    rebuilt();
    files();
    unclaimed();
    findings();
    next();
  }

 private:
  void heading(std::string_view text) { out_.print("\n{}\n", text); }
  void row(std::string_view label, std::string_view text) {
    if (!text.empty()) out_.print("  {:<11} {}\n", label, cut(shown(text)));
  }
  void more(std::size_t all) {
    if (all > kShown) out_.print("  and {} more\n", grouped(all - kShown));
  }

  void disc() {
    const Volume* volume = disc_.main_volume();
    out_.print("THE DISC   {}\n",
               volume == nullptr || volume->volume_id.empty() ? "(no name)" : shown(volume->volume_id));
    const Image& image = disc_.image();
    row("image",
        fmt::format("{}, {}, {}", image.name(), human_bytes(image.end_byte() - image.first_lba() * kSectorBytes),
                    lba_range(image.first_lba(), image.end_lba() - image.first_lba())));
    std::string views;
    for (const View v : facts_.views) views.append(views.empty() ? "" : ", ").append(to_string(v));
    row("views", views);
    if (volume != nullptr) {
      Dates dates;
      if (volume->created.known) row("made", dates.minute(volume->created));
      if (volume->modified.known && volume->modified != volume->created) row("changed", dates.minute(volume->modified));
      row("application", volume->application_id);
      row("preparer", volume->preparer_id);
      row("publisher", volume->publisher_id);
      if (volume->set_size > 1) {
        row("set", fmt::format("disc {} of {}", volume->sequence_number, volume->set_size));
      }
    }
    if (facts_.udf != nullptr) udf(*facts_.udf->udf);
    sessions();
    for (const std::string& other : disc_.also_present()) row("also there", other + " (not read by this version)");
  }

  void udf(const UdfFacts& u) {
    std::string what = u.revision == 0 ? "revision not recorded" : "revision " + udf_revision(u.revision);
    if (u.closed) what += *u.closed ? ", closed" : ", left open";
    Dates dates;
    if (u.integrity_recorded.known) what.append(" ").append(dates.minute(u.integrity_recorded));
    row("UDF", what);
    if (!u.medium.empty()) {
      row("made for", u.medium);
      if (!u.medium_why.empty()) row("", "(a guess: " + u.medium_why + ")");
    }
    for (std::size_t i = 0; i < u.maps.size() && i < kShown; ++i) {
      const UdfFacts::Map& m = u.maps[i];
      row(i == 0 ? "partitions" : "",
          fmt::format("{}: {}, number {} from LBA {}, {}{}{}", i, m.kind, m.number, m.start_lba, human_bytes(m.bytes),
                      m.state.empty() ? "" : "; ", m.state));
    }
    more(u.maps.size());
    if (u.table_generation) {
      row("tables", fmt::format("{} to this state", counted(*u.table_generation, "virtual allocation table leads",
                                                            "virtual allocation tables lead")));
    }
    if (u.free_bytes) row("free", human_bytes(*u.free_bytes));
    if (u.files || u.directories) row("recorded", recorded(u));
    hidden("streams", counted(u.named_streams, "named stream"), u.named_streams, facts_.streams_listed, "--streams");
    hidden("deleted", counted(u.deleted_names, "name marked as deleted", "names marked as deleted"), u.deleted_names,
           facts_.deleted_listed, "--deleted");
    row("writer", u.writer);
  }

  /// "12 files, 3 directories; found 11 and 3", the root among the directories.
  std::string recorded(const UdfFacts& u) const {
    std::string text = u.files ? counted(*u.files, "file") : "files not told";
    text += u.directories ? ", " + counted(*u.directories, "directory", "directories") : ", directories not told";
    if (facts_.udf_files)
      text += fmt::format("; found {} and {}", grouped(*facts_.udf_files), grouped(*facts_.udf_directories));
    return text;
  }

  void hidden(std::string_view label, const std::string& what, std::uint64_t count, bool listed,
              std::string_view option) {
    if (count != 0) row(label, fmt::format("{}, {}", what, listed ? "listed" : fmt::format("{} lists them", option)));
  }

  void sessions() {
    if (disc_.sessions().size() < 2) return;
    for (std::size_t i = 0; i < disc_.sessions().size() && i < kShown; ++i) {
      const Session& s = disc_.sessions()[i];
      row(i == 0 ? "sessions" : "",
          fmt::format("{} from LBA {}{}{}", s.number, s.start_lba,
                      s.source == SessionSource::kTable  ? ", an earlier state of the volume"
                      : s.source == SessionSource::kScan ? ", put together from what is left of it"
                                                         : "",
                      s.in_tree ? ", shown" : ""));
    }
    more(disc_.sessions().size());
  }

  void sectors() {
    heading("SECTORS");
    for (std::size_t i = 0; i < facts_.sectors.size(); ++i) {
      if (facts_.sectors[i] == 0) continue;
      out_.print("  {:<9} {:>13}  {:>8}\n", to_string(static_cast<SectorState>(i)), grouped(facts_.sectors[i]),
                 share(facts_.sectors[i], facts_.sectors_in_all));
    }
    if (facts_.idle_sectors != 0) {
      out_.print("  Of those not good, {} used by nothing that is known.\n",
                 facts_.idle_sectors == 1 ? "1 sector is" : grouped(facts_.idle_sectors) + " are");
    }
  }

  void tracks() {
    const std::vector<TrackFacts> all = gather_tracks(disc_.image());
    if (all.empty()) return;
    heading(counted(all.size(), "TRACK", "TRACKS"));
    for (const TrackFacts& f : all) {
      const auto count = [&f](SectorState s) { return f.states[static_cast<std::size_t>(s)]; };
      std::string what;
      const auto add = [&what](std::uint64_t n, std::string_view word) {
        if (n != 0) what += fmt::format("{}{} {}", what.empty() ? "" : ", ", grouped(n), word);
      };
      add(f.proven, "proven");
      add(count(SectorState::kRepaired), "repaired");
      add(count(SectorState::kGood) - f.proven, f.track->audio ? "there" : "without a code");
      for (const SectorState s : {SectorState::kSuspect, SectorState::kBad, SectorState::kUnread, SectorState::kAbsent})
        add(count(s), to_string(s));
      out_.print("  {:<2} {:<14} {:<24} {}{}\n", f.track->number, to_string(f.form),
                 lba_range(f.track->first_lba, f.track->sectors), what,
                 f.track->title.empty() ? "" : "  " + cut(shown(f.track->title)));
    }
  }

  void structures() {
    std::vector<HurtStructure> hurt = facts_.hurt_structures;
    std::erase_if(hurt, [this](const HurtStructure& h) {  // These have a section of their own.
      return disc_.structures()[h.structure].kind == StructureKind::kDirectory;
    });
    if (hurt.empty()) return;
    heading(fmt::format("{} of the file system hurt", counted(hurt.size(), "STRUCTURE", "STRUCTURES")));
    for (std::size_t i = 0; i < hurt.size() && i < kShown; ++i) {
      const Structure& s = disc_.structures()[hurt[i].structure];
      out_.print("  LBA {:<9} {:<8} {} ({})\n", s.position / kSectorBytes, to_string(hurt[i].worst),
                 shown(structure_title(disc_, s)), to_string(s.view));
    }
    more(hurt.size());
  }

  void directories() {
    const std::vector<LostDirectory>& lost = disc_.lost_directories();
    if (lost.empty()) return;
    heading(fmt::format("{} could not be read in full", counted(lost.size(), "DIRECTORY", "DIRECTORIES")));
    for (std::size_t i = 0; i < lost.size() && i < kShown; ++i) {
      const LostDirectory& d = lost[i];
      out_.print("  LBA {:<9} {}/ ({}): {} of {}\n", d.position / kSectorBytes,
                 d.node == kNoNode ? "?" : shown(disc_.tree().path(d.node)), to_string(d.view),
                 grouped(d.missing_lbas.total()),
                 counted((d.position % kSectorBytes + d.bytes + kSectorBytes - 1) / kSectorBytes, "sector missing",
                         "sectors missing"));
      std::string known;
      if (d.entries_elsewhere)
        known = "another view names " + counted(*d.entries_elsewhere, "entry", "entries") + " in it";
      if (d.subdirectories && (*d.subdirectories != 0 || !d.entries_elsewhere)) {
        known += (known.empty() ? "" : "; ") + std::string("a path table tells of ") +
                 counted(*d.subdirectories, "directory", "directories") + " in it";
      }
      out_.print("                {}\n", known.empty() ? "nothing else tells what was in it" : known);
    }
    more(lost.size());
  }

  void rebuilt() {
    constexpr std::array<std::string_view, kEvidenceCount> kFrom{"",
                                                                 "another view of the disc",
                                                                 "path tables",
                                                                 "an earlier session",
                                                                 "structures found by scanning",
                                                                 "another disc"};
    std::uint64_t rebuilt = 0;
    for (std::size_t from = 1; from < kEvidenceCount; ++from) {
      rebuilt += std::reduce(facts_.files_from[from].begin(), facts_.files_from[from].end());
    }
    if (!disc_.scan() && facts_.orphans == 0) return;
    heading(fmt::format("REBUILT    {}", rebuilt == 0 ? "nothing" : counted(rebuilt, "file")));
    if (disc_.scan()) {
      row("why", disc_.scan()->reason);
      row("looked at", fmt::format("{} that no file was known to fill", human_bytes(disc_.scan()->looked_at_bytes)));
    }
    for (std::size_t from = 1; from < kEvidenceCount; ++from) {
      const auto& states = facts_.files_from[from];
      const std::uint64_t all = std::reduce(states.begin(), states.end());
      if (all == 0) continue;
      const auto count = [&states](FileState s) { return states[static_cast<std::size_t>(s)]; };
      row("from", fmt::format("{}: {}; {} whole, {} doubtful", kFrom[from], counted(all, "file"),
                              grouped(count(FileState::kWhole)), grouped(count(FileState::kDoubtful))));
    }
    if (facts_.orphans != 0) {
      row("orphans", fmt::format("{} below _orphans/: nothing tells where in the tree they belong",
                                 counted(facts_.orphans, "file")));
    }
  }

  void unclaimed() {
    if (facts_.unclaimed.empty()) return;
    heading(fmt::format("UNCLAIMED  {} in {} that no file and no structure fills",
                        human_bytes(facts_.unclaimed_sectors * kSectorBytes),
                        counted(facts_.unclaimed.size(), "stretch", "stretches")));
    for (std::size_t i = 0; i < facts_.unclaimed.size() && i < kShown; ++i) {
      const Unclaimed& u = facts_.unclaimed[i];
      out_.print("  {:<30} {:>9}  {}\n", lba_range(u.lbas.first, u.lbas.length()),
                 human_bytes(u.lbas.length() * kSectorBytes),
                 u.type.empty() ? "of no known kind" : "begins like " + u.type);
    }
    more(facts_.unclaimed.size());
  }

  void files() {
    heading("FILES");
    for (std::size_t i = 0; i < verdicts_.counts().size(); ++i) {
      const StateCount& c = verdicts_.counts()[i];
      if (c.files == 0) continue;
      file_row(to_string(static_cast<FileState>(i)), c);
    }
    file_row("in all", facts_.all_files);
    if (verdicts_.hurt_directories() != 0) {
      out_.print("  There may be more: {} not be read in full.\n",
                 verdicts_.hurt_directories() == 1 ? "1 directory could"
                                                   : grouped(verdicts_.hurt_directories()) + " directories could");
    }
  }

  void file_row(std::string_view label, const StateCount& c) {
    out_.print("  {:<9} {:>13}  {:>8}{}\n", label, grouped(c.files), human_bytes(c.bytes),
               c.missing_bytes == 0 ? "" : fmt::format("   {} missing", human_bytes(c.missing_bytes)));
  }

  void findings() {
    const auto rank = [](const Finding& f) { return -static_cast<int>(f.severity); };
    std::vector<const Finding*> list;
    for (const Finding& f : facts_.findings.list()) {
      if (f.severity != Severity::kNote) list.push_back(&f);
    }
    std::ranges::stable_sort(list, {}, [&rank](const Finding* f) { return rank(*f); });
    const std::size_t notes = facts_.findings.list().size() - list.size();
    if (list.empty() && notes == 0) return;
    heading("FOUND ON THE WAY");
    for (std::size_t i = 0; i < list.size() && i < kShown; ++i) {
      const Finding& f = *list[i];
      out_.print("  {}{}: {}\n", f.lba ? fmt::format("LBA {} ", *f.lba) : "", shown(f.subject), shown(f.text));
    }
    more(list.size());
    if (notes != 0) {
      out_.print("  {} from the standard without consequence (survey --format json lists all)\n",
                 counted(notes, "departure"));
    }
  }

  void next() {
    heading("WHAT NEXT");
    int number = 0;
    for (const Step& step : next_steps(disc_, verdicts_, facts_, context_)) {
      out_.print("  {}. {}\n", ++number, step.text);
      if (!step.command.empty()) out_.print("       {}\n", shown(step.command));
    }
    if (number == 0) out_.add("  Nothing: no file is known.\n");
    heading("TAKE CARE");
    for (const std::string& text : cautions(facts_)) out_.print("  {}\n", text);
  }

  const Disc& disc_;
  const Verdicts& verdicts_;
  const ReportContext& context_;
  const SurveyFacts& facts_;
  Out& out_;
};

}  // namespace

void survey_as_text(const Survey& survey, Out& out) { SurveyText(survey, out).write(); }

}  // namespace lacuna::report
