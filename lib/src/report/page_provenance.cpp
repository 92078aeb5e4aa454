// SPDX-License-Identifier: GPL-3.0-or-later
// Where what a page says comes from: the image and its maps, the volumes, the sources of names, and what was met on the
// way. Long lists are folded and cut; the JSON of survey has them in full.
#include <algorithm>
#include <array>
#include <numeric>

#include "report/html.h"
#include "report/page.h"
#include "report/tracks.h"
#include "report/words.h"

namespace lacuna::report {
namespace {

constexpr std::size_t kMost = 200;  // Rows of a list.

class PageProvenance {
 public:
  PageProvenance(const PageFacts& facts, Out& out) : facts_(facts), disc_(facts.disc()), out_(out) {}

  void put() {
    out_.print(
        "<section class=\"provenance\" aria-labelledby=\"d{0}-from\">\n<h3 id=\"d{0}-from\">Where this comes "
        "from</h3>\n",
        facts_.number);
    image();
    volumes();
    sources();
    tracks();
    lost_directories();
    hurt_structures();
    unclaimed();
    findings();
    out_.add("</section>\n");
  }

 private:
  void row(std::string_view label, std::string_view text) {
    if (!text.empty()) out_.print("<div><dt>{}</dt><dd>{}</dd></div>\n", label, html(text));
  }

  void image() {
    const Image& image = disc_.image();
    out_.add("<dl class=\"facts\">\n");
    row("Image", image.name());
    row("Size", fmt::format("{} ({} bytes), {}", human_bytes(image.end_byte() - image.first_lba() * kSectorBytes),
                            grouped(image.end_byte() - image.first_lba() * kSectorBytes),
                            lba_range(image.first_lba(), image.end_lba() - image.first_lba())));
    std::string maps;
    for (const std::string& m : facts_.page.maps) maps.append(maps.empty() ? "" : ", ").append(m);
    row("Maps", maps.empty() ? "none was given" : maps);
    row("Basis", basis());
    row("Medium", fmt::format("{}{}", medium_title(facts_.plan.medium),
                              facts_.plan.medium_why.empty() ? "" : "; a guess: " + facts_.plan.medium_why));
    row("Read as", "lacuna report " + facts_.page.context.image_arguments);
    row("Made by", "lacuna " LACUNA_VERSION);
    if (disc_.scan()) {
      row("Looked through", fmt::format("{} that no file was known to fill, because {}",
                                        human_bytes(disc_.scan()->looked_at_bytes), disc_.scan()->reason));
    }
    for (const std::string& other : disc_.also_present()) row("Also there", other + ", not read by this version");
    out_.add("</dl>\n");
  }

  std::string basis() const {
    switch (facts_.verdicts().basis()) {
      case Basis::kEdc:
        return "edc: each sector's own code proves it";
      case Basis::kMap:
        return "map: whoever read the disc said which sectors are good";
      case Basis::kAssumed:
        return "assumed: the image has bytes there and nobody says otherwise";
    }
    return {};
  }

  /// A folded table; `count` rows there are in all.
  void open_list(std::string_view title, std::uint64_t count, std::initializer_list<std::string_view> columns) {
    out_.print("<details><summary>{} <span class=\"count\">{}</span></summary>\n", title, grouped(count));
    open_table(title, columns);
  }
  void close_list(std::uint64_t count) {
    close_table();
    if (count > kMost) out_.print("<p class=\"quiet\">And {} more.</p>\n", grouped(count - kMost));
    out_.add("</details>\n");
  }
  void open_table(std::string_view caption, std::initializer_list<std::string_view> columns) {
    out_.print(
        "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{0}\"><table><caption class=\"quiet\">{0}"
        "</caption><thead><tr>",
        caption);
    for (const std::string_view c : columns) out_.print("<th scope=\"col\">{}</th>", c);
    out_.add("</tr></thead><tbody>\n");
  }
  void close_table() { out_.add("</tbody></table></div>\n"); }
  void cells(std::initializer_list<std::string> texts) {
    out_.add("<tr>");
    for (const std::string& t : texts) out_.print("<td>{}</td>", html(t));
    out_.add("</tr>\n");
  }

  void volumes() {
    std::uint64_t count = 0;
    for (const Session& s : disc_.sessions()) count += s.volumes.size();
    if (count == 0) return;
    open_list("Volumes", count, {"Session", "View", "Label", "Made", "Changed", "Descriptor", "Says of itself"});
    std::uint64_t at = 0;
    for (const Session& s : disc_.sessions()) {
      for (const Volume& v : s.volumes) {
        if (at++ >= kMost) continue;
        Dates made, changed;
        cells({fmt::format("{} from LBA {}{}", s.number, s.start_lba, s.in_tree ? "" : ", not shown here"),
               std::string(to_string(v.view)), v.volume_id, std::string(made.minute(v.created)),
               std::string(changed.minute(v.modified)), lba_range(v.descriptor_lba, 1), says(v)});
      }
    }
    close_list(count);
  }

  static std::string says(const Volume& v) {
    std::string text;
    const auto add = [&text](std::string_view label, std::string_view value) {
      if (!value.empty()) text += fmt::format("{}{}: {}", text.empty() ? "" : "; ", label, value);
    };
    add("application", v.application_id);
    add("preparer", v.preparer_id);
    add("publisher", v.publisher_id);
    add("system", v.system_id);
    add("set", v.volume_set_id);
    if (v.set_size > 1) add("disc", fmt::format("{} of {}", v.sequence_number, v.set_size));
    if (v.udf && v.udf->revision != 0) add("UDF", udf_revision(v.udf->revision));
    if (v.udf) add("made for", v.udf->medium), add("written by", v.udf->writer);
    return text;
  }

  /// Which structures the files are known from.
  void sources() {
    constexpr std::array<std::string_view, kEvidenceCount> kTitles{"the directories of the view that is shown",
                                                                   "another view of the disc",
                                                                   "path tables",
                                                                   "an earlier session",
                                                                   "structures found by scanning",
                                                                   "another disc"};
    if (facts_.survey.all_files.files == 0) return;
    open_list("What the files are known from", facts_.survey.all_files.files,
              {"Evidence", "Files", "Whole", "Not whole"});
    for (std::size_t e = 0; e < kTitles.size(); ++e) {
      const auto& states = facts_.survey.files_from[e];
      const std::uint64_t all = std::reduce(states.begin(), states.end());
      if (all == 0) continue;
      cells({fmt::format("{} ({})", kTitles[e], to_string(static_cast<Evidence>(e))), grouped(all), grouped(states[0]),
             grouped(all - states[0])});
    }
    close_list(0);
  }

  void tracks() {
    const std::vector<TrackFacts> all = gather_tracks(disc_.image());
    if (all.empty()) return;
    open_list("Tracks", all.size(), {"Track", "Form", "Place", "Proven", "Repaired", "Can't be had", "Title"});
    for (const TrackFacts& f : all) {
      const auto count = [&f](SectorState s) { return f.states[static_cast<std::size_t>(s)]; };
      cells({fmt::to_string(f.track->number), std::string(to_string(f.form)),
             lba_range(f.track->first_lba, f.track->sectors), grouped(f.proven), grouped(count(SectorState::kRepaired)),
             grouped(count(SectorState::kBad) + count(SectorState::kUnread) + count(SectorState::kAbsent)),
             f.track->title});
    }
    close_list(0);
  }

  void lost_directories() {
    const std::vector<LostDirectory>& all = disc_.lost_directories();
    if (all.empty()) return;
    open_list("Folders that could not be read in full", all.size(), {"Folder", "View", "Place", "Known of it"});
    for (const LostDirectory& d : std::span(all).first(std::min(all.size(), kMost))) {
      std::string known;
      if (d.entries_elsewhere) {
        known = fmt::format("another view names {} in it", counted(*d.entries_elsewhere, "entry", "entries"));
      }
      if (d.subdirectories && (*d.subdirectories != 0 || !d.entries_elsewhere)) {
        known += fmt::format("{}a path table tells of {} in it", known.empty() ? "" : "; ",
                             counted(*d.subdirectories, "folder"));
      }
      cells({d.node == kNoNode ? "?"
             : d.node == kRoot ? "the root"
                               : disc_.tree().path(d.node),
             std::string(to_string(d.view)), fmt::format("LBA {}", d.position / kSectorBytes),
             known.empty() ? "nothing else tells what was in it" : known});
    }
    close_list(all.size());
  }

  void hurt_structures() {
    const std::vector<HurtStructure>& all = facts_.survey.hurt_structures;
    if (all.empty()) return;
    open_list("Structures of the file system that are hurt", all.size(), {"Structure", "View", "Place", "State"});
    for (const HurtStructure& h : std::span(all).first(std::min(all.size(), kMost))) {
      const Structure& s = disc_.structures()[h.structure];
      cells({structure_title(disc_, s), std::string(to_string(s.view)),
             fmt::format("LBA {}", s.position / kSectorBytes), std::string(to_string(h.worst))});
    }
    close_list(all.size());
  }

  void unclaimed() {
    const std::vector<Unclaimed>& all = facts_.survey.unclaimed;
    if (all.empty()) return;
    open_list("Data that no file and no structure fills", all.size(), {"Place", "Size", "Begins like"});
    for (const Unclaimed& u : std::span(all).first(std::min(all.size(), kMost))) {
      cells({lba_range(u.lbas.first, u.lbas.length()), human_bytes(u.lbas.length() * kSectorBytes),
             u.type.empty() ? "no known kind" : u.type});
    }
    close_list(all.size());
  }

  void findings() {
    std::vector<const Finding*> all;
    for (const Finding& f : facts_.survey.findings.list()) all.push_back(&f);
    if (all.empty()) return;
    std::ranges::stable_sort(all, std::greater{}, [](const Finding* f) { return static_cast<int>(f->severity); });
    constexpr std::array<std::string_view, 3> kSeverities{"note", "doubt", "loss"};
    open_list("Found on the way", all.size(), {"Weight", "About", "Place", "What", "Clause"});
    for (const Finding* f : std::span(all).first(std::min(all.size(), kMost))) {
      cells({std::string(kSeverities[static_cast<std::size_t>(f->severity)]), f->subject,
             f->lba ? fmt::format("LBA {}", *f->lba) : "", f->text, f->clause});
    }
    close_list(all.size());
  }

  const PageFacts& facts_;
  const Disc& disc_;
  Out& out_;
};

}  // namespace

void put_page_provenance(const PageFacts& facts, Out& out) { PageProvenance(facts, out).put(); }

}  // namespace lacuna::report
