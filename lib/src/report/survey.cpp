// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/survey.h"

#include <algorithm>
#include <array>
#include <filesystem>
#include <map>

#include "disc/claims.h"
#include "media/signatures.h"
#include "report/out.h"
#include "report/words.h"

namespace lacuna {

void write_survey(const Disc& disc, const Verdicts& verdicts, const Hits& hits, const ReportContext& context,
                  Format format, const Sink& sink) {
  report::Out out(sink);
  const report::SurveyFacts facts = report::gather_facts(disc, verdicts, hits);
  const report::Survey survey{disc, verdicts, context, facts};
  if (format == Format::kText) {
    survey_as_text(survey, out);
  } else {
    survey_as_json(survey, out);
  }
  out.finish();
}

namespace report {
namespace {

void count_sectors(const Disc& disc, const Verdicts& verdicts, const Hits& hits, SurveyFacts& facts) {
  const std::uint64_t end = disc.image().end_lba();
  for (const SectorRun& run : verdicts.states().slice(0, end)) {
    facts.sectors[static_cast<std::size_t>(run.state)] += run.count;
  }
  for (const Hit& hit : hits.hits) {
    ++facts.hit_ranges;
    facts.idle_sectors += hit.idle_sectors;
    if (hit.run.end() > end) {
      facts.sectors[static_cast<std::size_t>(hit.run.state)] += hit.run.end() - std::max(hit.run.first, end);
    }
  }
  for (const std::uint64_t n : facts.sectors) facts.sectors_in_all += n;
}

void find_hurt_structures(const Hits& hits, SurveyFacts& facts) {
  std::map<std::uint32_t, HurtStructure> hurt;  // Structures stand in the order of their places.
  for (const Hit& hit : hits.hits) {
    for (std::uint32_t i = 0; i < hit.target_count; ++i) {
      const HitTarget& t = hits.targets[hit.first_target + i];
      if (t.structure == ~std::uint32_t{0}) continue;
      HurtStructure& h = hurt[t.structure];
      h.structure = t.structure;
      h.hurt_bytes += t.bytes;
      h.worst = std::max(h.worst, hit.run.state);
    }
  }
  for (const auto& [_, h] : hurt) facts.hurt_structures.push_back(h);
}

void count_sources(const Disc& disc, const Verdicts& verdicts, SurveyFacts& facts) {
  const Tree& tree = disc.tree();
  std::vector<bool> orphaned(tree.size());  // parents come first
  for (NodeId id = 1; id < tree.size(); ++id) {
    const Node& n = tree.node(id);
    orphaned[id] = n.has(node_flag::kOrphans) || orphaned[n.parent];
    if (n.is_directory()) continue;
    facts.orphans += orphaned[id];
    ++facts.files_from[static_cast<std::size_t>(n.evidence)][static_cast<std::size_t>(verdicts.of(id).state)];
  }
}

void find_unclaimed(const Disc& disc, SurveyFacts& facts) {
  constexpr std::uint64_t kMostLookedAt = 32768;  // 64 MiB
  constexpr std::size_t kMostTyped = 1000;
  RangeSet lbas = unclaimed_sectors(disc.image(), disc.tree(), disc.structures());
  if (lbas.total() <= kMostLookedAt) lbas = without_blank(disc.image(), lbas);
  lbas = without_structures(lbas, disc.scan());
  if (lbas.empty()) return;
  facts.unclaimed_sectors = lbas.total();
  const Signatures signatures;
  std::array<std::uint8_t, kSectorBytes> sector;
  std::array<SectorState, 1> state;
  for (const Range& r : lbas.ranges()) {
    Unclaimed u{r, {}};
    if (facts.unclaimed.size() < kMostTyped) {
      disc.image().read(r.first, sector, state);
      u.type = signatures.type(sector);
    }
    facts.unclaimed.push_back(std::move(u));
  }
}

/// "harbour.iso" -> "harbour-files": a name for the folder in suggestions.
std::string suggested_folder(const Image& image) {
  const std::string stem = std::filesystem::path(image.name()).stem().string();
  return shell_quoted((stem.empty() || stem.front() == '.' || stem.front() == '-' ? "disc" : stem) + "-files");
}

}  // namespace

SurveyFacts gather_facts(const Disc& disc, const Verdicts& verdicts, const Hits& hits) {
  SurveyFacts facts;
  facts.findings = disc.image().findings();
  facts.findings.add(disc.findings());
  count_sectors(disc, verdicts, hits, facts);
  find_hurt_structures(hits, facts);
  for (const StateCount& c : verdicts.counts()) {
    facts.all_files.files += c.files;
    facts.all_files.bytes += c.bytes;
    facts.all_files.missing_bytes += c.missing_bytes;
  }
  std::array<bool, kViewCount> views{};
  std::uint64_t udf_files = 0, udf_directories = 1;
  const Tree& tree = disc.tree();
  for (const NodeId id : tree.in_order()) {
    const Node& n = tree.node(id);
    facts.directories += n.is_directory();
    for (std::size_t v = 0; v < n.names.size(); ++v) views[v] = views[v] || n.names[v].length != 0;
    facts.streams_listed = facts.streams_listed || n.has(node_flag::kStream);
    facts.deleted_listed = facts.deleted_listed || n.has(node_flag::kDeleted);
    if (n.names[static_cast<std::size_t>(View::kUdf)].length != 0 && !n.has(node_flag::kStream | node_flag::kDeleted)) {
      ++(n.is_directory() ? udf_directories : udf_files);
    }
  }
  for (std::size_t v = 0; v < views.size(); ++v) {
    if (views[v]) facts.views.push_back(static_cast<View>(v));
  }
  count_sources(disc, verdicts, facts);
  find_unclaimed(disc, facts);
  std::size_t shown = 0;
  for (const Session& s : disc.sessions()) {
    if (!s.in_tree) continue;
    ++shown;
    for (const Volume& v : s.volumes) {
      if (v.udf) facts.udf = &v;
      // The partition of a write-once disc goes on over what is not written yet (UDF 2.2.8).
      if (v.udf && v.udf->table_generation) continue;
      // Later sessions' descriptors count from the disc's start or from the session's, as their writers saw fit; the
      // smaller reading accuses no image wrongly.
      const std::uint64_t end_lba = (v.space_bytes + kSectorBytes - 1) / kSectorBytes;
      if (end_lba > disc.image().end_lba()) facts.volume_end_lba = std::max(end_lba, facts.volume_end_lba.value_or(0));
    }
  }
  if (facts.udf != nullptr && shown == 1 && views[static_cast<std::size_t>(View::kUdf)]) {
    facts.udf_files = udf_files;
    facts.udf_directories = udf_directories;
  }
  return facts;
}

std::string structure_title(const Disc& disc, const Structure& s) {
  std::string title = s.label.empty() ? std::string(to_string(s.kind)) : s.label;
  if (s.node == kRoot) return title + " of the root";
  if (s.node != kNoNode) title += ' ' + disc.tree().path(s.node);
  return title;
}

std::vector<Step> next_steps(const Disc& disc, const Verdicts& verdicts, const SurveyFacts& facts,
                             const ReportContext& context) {
  const std::string image =
      context.image_arguments.empty() ? shell_quoted(disc.image().name()) : context.image_arguments;
  const auto count = [&verdicts](FileState s) { return verdicts.counts()[static_cast<std::size_t>(s)]; };
  const StateCount whole = count(FileState::kWhole), doubtful = count(FileState::kDoubtful);
  const StateCount damaged = count(FileState::kDamaged);
  const std::uint64_t gone = count(FileState::kLost).files + count(FileState::kUnlocated).files;
  const std::string folder = suggested_folder(disc.image());

  std::vector<Step> steps;
  if (verdicts.basis() == Basis::kAssumed && facts.all_files.files != 0) {
    steps.push_back({"Say which sectors were unreadable, if the disc's reader kept a record",
                     fmt::format("lacuna survey {} --map FILE", image)});
  }
  if (whole.files + doubtful.files != 0) {
    steps.push_back({fmt::format("Get {}{} out, {}", counted(whole.files, "whole file"),
                                 doubtful.files == 0 ? "" : " and " + grouped(doubtful.files) + " doubtful",
                                 human_bytes(whole.bytes + doubtful.bytes)),
                     fmt::format("lacuna pull {} --to {}", image, folder)});
  }
  if (doubtful.files != 0) {
    steps.push_back({fmt::format("See why {} doubtful", doubtful.files == 1 ? "a file is" : "files are"),
                     fmt::format("lacuna files {} --state doubtful", image)});
  }
  if (damaged.files + gone != 0) {
    steps.push_back({"See which sectors cost which files", fmt::format("lacuna hits {}", image)});
  }
  const bool unread = facts.sectors[static_cast<std::size_t>(SectorState::kBad)] +
                          facts.sectors[static_cast<std::size_t>(SectorState::kUnread)] +
                          facts.sectors[static_cast<std::size_t>(SectorState::kAbsent)] !=
                      0;
  if (unread && (damaged.files + gone + verdicts.hurt_directories() != 0 || !facts.hurt_structures.empty())) {
    steps.push_back({"Image the disc again in a drive of another maker or type: it often reads other sectors", ""});
    steps.push_back({"Or have it read what brings most, in this order", fmt::format("lacuna plan {}", image)});
  }
  if (facts.volume_end_lba) {
    steps.push_back({fmt::format("Image the rest: the volume says that it goes on to LBA {}, the image ends at LBA {}",
                                 *facts.volume_end_lba - 1, disc.image().end_lba() - 1),
                     ""});
  }
  if (damaged.files != 0) {
    steps.push_back({fmt::format("Take {} too, with the gaps listed", counted(damaged.files, "damaged file")),
                     fmt::format("lacuna pull {} --to {} --damaged", image, folder)});
  }
  if (std::ranges::any_of(disc.sessions(), [](const Session& s) { return !s.in_tree; })) {
    const bool states = std::ranges::all_of(
        disc.sessions(), [](const Session& s) { return s.in_tree || s.source == SessionSource::kTable; });
    steps.push_back({states ? "See what earlier states of the volume hold" : "See what the other sessions hold",
                     fmt::format("lacuna files {} --session all", image)});
  }
  if (whole.files + doubtful.files != 0) {
    steps.push_back({"Check later that what was pulled is unchanged", fmt::format("lacuna verify {}", folder)});
  }
  return steps;
}

std::vector<std::string> cautions(const SurveyFacts& facts) {
  std::vector<std::string> all;
  if (facts.hit_ranges != 0) {
    all.emplace_back("Never spin a cracked or delaminating disc: it can shatter in the drive.");
    all.emplace_back("Keep the disc and this image as they are, whatever has been pulled from them.");
  }
  all.emplace_back("Old programs may carry malware; --skip-programs leaves them inside the image.");
  return all;
}

}  // namespace report
}  // namespace lacuna
