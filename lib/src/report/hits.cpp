// SPDX-License-Identifier: GPL-3.0-or-later
// The hits, three forms of one walk: range by range, the structures of the file system first, then files.
#include <algorithm>
#include <vector>

#include "report/basis.h"
#include "report/csv.h"
#include "report/json.h"
#include "report/survey.h"
#include "report/words.h"

namespace lacuna {
namespace report {
namespace {

constexpr std::size_t kNamesShown = 5;

bool is_structure(const HitTarget& t) { return t.structure != ~std::uint32_t{0}; }

/// The targets of one range, structures first.
std::vector<HitTarget> targets_of(const Hits& hits, const Hit& hit) {
  const auto first = hits.targets.begin() + hit.first_target;
  std::vector<HitTarget> targets(first, first + hit.target_count);
  std::stable_partition(targets.begin(), targets.end(), is_structure);
  return targets;
}

struct HitTotals {
  std::uint64_t sectors = 0, idle_sectors = 0, files = 0, structures = 0;
};

HitTotals total(const Disc& disc, const Hits& hits) {
  HitTotals totals;
  std::vector<bool> files(disc.tree().size()), structures(disc.structures().size());
  for (const Hit& hit : hits.hits) {
    totals.sectors += hit.run.count;
    totals.idle_sectors += hit.idle_sectors;
  }
  for (const HitTarget& t : hits.targets) {
    std::vector<bool>& seen = is_structure(t) ? structures : files;
    const std::size_t index = is_structure(t) ? t.structure : t.node;
    if (seen[index]) continue;
    seen[index] = true;
    ++(is_structure(t) ? totals.structures : totals.files);
  }
  return totals;
}

void hits_as_text(const Disc& disc, const Verdicts& verdicts, const Hits& hits, const ReportContext& context,
                  Out& out) {
  const HitTotals totals = total(disc, hits);
  if (hits.hits.empty()) {
    out.add("No sector is known to be unreadable or suspect.\n");
  } else {
    out.print("{}, {}: {} and {} of the file system hit.\n", counted(hits.hits.size(), "range"),
              counted(totals.sectors, "sector"), counted(totals.files, "file"),
              counted(totals.structures, "structure"));
  }
  for (const Hit& hit : hits.hits) {
    out.print("\n{}  {}  {}\n", lba_range(hit.run.first, hit.run.count), to_string(hit.run.state),
              counted(hit.run.count, "sector"));
    const std::vector<HitTarget> targets = targets_of(hits, hit);
    for (std::size_t i = 0; i < targets.size() && i < kNamesShown; ++i) {
      const HitTarget& t = targets[i];
      if (is_structure(t)) {
        const Structure& s = disc.structures()[t.structure];
        out.print("  {:>8}  {} ({})\n", human_bytes(t.bytes), shown(structure_title(disc, s)), to_string(s.view));
      } else {
        out.print("  {:>8}  {}, from byte {}\n", human_bytes(t.bytes), shown(disc.tree().path(t.node)), t.offset);
      }
    }
    if (targets.size() > kNamesShown) out.print("            and {} more\n", grouped(targets.size() - kNamesShown));
    if (hit.idle_sectors != 0) {
      out.print("            {} used by nothing that is known\n", counted(hit.idle_sectors, "sector"));
    }
  }
  if (const std::string basis = basis_statement(verdicts.basis(), context); !basis.empty()) {
    out.add('\n');
    out.add(basis);
  }
}

void put_target(Json& json, const Disc& disc, const Verdicts& verdicts, const HitTarget& t) {
  json.open_object();
  if (is_structure(t)) {
    const Structure& s = disc.structures()[t.structure];
    json.put("kind", to_string(s.kind));
    json.put("view", to_string(s.view));
    json.put_text("label", s.label);
    if (s.node != kNoNode) json.put("path", disc.tree().path(s.node));
  } else {
    json.put("path", disc.tree().path(t.node));
    json.put("state", to_string(verdicts.of(t.node).state));
  }
  json.put("offset", t.offset);
  json.put("bytes", t.bytes);
  json.close_object();
}

void put_hit(Json& json, const Disc& disc, const Verdicts& verdicts, const Hits& hits, const Hit& hit) {
  json.open_object();
  json.put("lba", hit.run.first);
  json.put("sectors", hit.run.count);
  json.put("state", to_string(hit.run.state));
  json.put("idle_sectors", hit.idle_sectors);
  const std::vector<HitTarget> targets = targets_of(hits, hit);
  const auto files = std::partition_point(targets.begin(), targets.end(), is_structure);
  json.open_array("structures");
  for (auto t = targets.begin(); t != files; ++t) put_target(json, disc, verdicts, *t);
  json.close_array();
  json.open_array("files");
  for (auto t = files; t != targets.end(); ++t) put_target(json, disc, verdicts, *t);
  json.close_array();
  json.close_object();
}

void hits_as_json(const Disc& disc, const Verdicts& verdicts, const Hits& hits, const ReportContext& context,
                  bool lines, Out& out) {
  const HitTotals totals = total(disc, hits);
  Json head(out), item(out);
  head.open_object();
  head.put("schema", "lacuna/hits/1");
  put_image(head, disc, verdicts, context);
  open_summary(head, disc, verdicts);
  head.put("ranges", std::uint64_t{hits.hits.size()});
  head.put("sectors", totals.sectors);
  head.put("idle_sectors", totals.idle_sectors);
  head.put("files_hit", totals.files);
  head.put("structures_hit", totals.structures);
  head.close_object();
  if (lines) {
    head.close_object();
    out.add('\n');
  } else {
    head.open_array("hits");
  }
  for (std::size_t i = 0; i < hits.hits.size(); ++i) {
    if (!lines) out.add(i == 0 ? "\n" : ",\n");
    item.restart();
    put_hit(item, disc, verdicts, hits, hits.hits[i]);
    if (lines) out.add('\n');
  }
  if (lines) return;
  out.add('\n');
  head.close_array();
  head.close_object();
  out.add('\n');
}

/// One record a target; one without a target for a range that hits nothing.
void hits_as_csv(const Disc& disc, const Hits& hits, Out& out) {
  CsvRow row(out);
  for (const char* title : {"lba", "sectors", "state", "idle_sectors", "target", "view", "path", "offset", "bytes"}) {
    row.add(title);
  }
  row.end();
  for (const Hit& hit : hits.hits) {
    const auto begin_row = [&] {
      row.add(hit.run.first).add(hit.run.count).add(to_string(hit.run.state)).add(hit.idle_sectors);
    };
    const std::vector<HitTarget> targets = targets_of(hits, hit);
    for (const HitTarget& t : targets) {
      begin_row();
      if (is_structure(t)) {
        const Structure& s = disc.structures()[t.structure];
        row.add(s.label.empty() ? to_string(s.kind) : std::string_view(s.label)).add(to_string(s.view));
        row.add(s.node == kNoNode ? std::string{} : disc.tree().path(s.node));
      } else {
        row.add("file").add(to_string(disc.tree().node(t.node).view)).add(disc.tree().path(t.node));
      }
      row.add(t.offset).add(t.bytes).end();
    }
    if (targets.empty()) {
      begin_row();
      row.add("").add("").add("").add("").add("").end();
    }
  }
}

}  // namespace
}  // namespace report

void write_hits(const Disc& disc, const Verdicts& verdicts, const Hits& hits, const ReportContext& context,
                Format format, const Sink& sink) {
  report::Out out(sink);
  switch (format) {
    case Format::kText:
      report::hits_as_text(disc, verdicts, hits, context, out);
      break;
    case Format::kJson:
    case Format::kNdjson:
      report::hits_as_json(disc, verdicts, hits, context, format == Format::kNdjson, out);
      break;
    case Format::kCsv:
      report::hits_as_csv(disc, hits, out);
      break;
  }
  out.finish();
}

}  // namespace lacuna
