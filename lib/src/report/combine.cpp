// SPDX-License-Identifier: GPL-3.0-or-later
// What came of combining several reads.
#include "lacuna/combine.h"

#include <algorithm>
#include <array>

#include "report/json.h"
#include "report/words.h"

namespace lacuna {
namespace report {
namespace {

constexpr std::size_t kConflictsShown = 10;

std::string_view told(Settled how) {
  switch (how) {
    case Settled::kProven:
      return "good: proven by their own codes";
    case Settled::kRepaired:
      return "repaired by their own parity";
    case Settled::kJoined:
      return "repaired: put together from several reads, proven by their own codes";
    case Settled::kAgreed:
      return "good: two or more reads agree";
    case Settled::kMajority:
      return "good: most reads agree, others differ";
    case Settled::kAlone:
      return "good: one read has them";
    case Settled::kDistrusted:
      return "suspect: one read has them, which was contradicted elsewhere; another read would settle them";
    case Settled::kFill:
      return "suspect: uniform in a read without a map, where another differs or failed";
    case Settled::kConflict:
      return "suspect: reads differ; another read would settle them";
    case Settled::kSuspect:
      return "suspect in every read that has them";
    case Settled::kMissing:
      return "missing: no read has them";
  }
  return "";
}

void list_reads(const CombineReport& r, Out& out) {
  std::size_t width = 4;
  for (const ReadFacts& read : r.reads) width = std::max(width, shown(read.name).size());
  out.print("\n   {:<{}}  {:>12}  {:>12}  {:>12}  {:>12}\n", "READ", width, "HAS GOOD", "GAVE", "ALONE",
            "CONTRADICTED");
  for (std::size_t i = 0; i < r.reads.size(); ++i) {
    const ReadFacts& read = r.reads[i];
    out.print("{:>2} {:<{}}  {:>12}  {:>12}  {:>12}  {:>12}\n", i + 1, shown(read.name), width, grouped(read.good),
              grouped(read.gave), grouped(read.alone), grouped(read.contradicted));
  }
  for (std::size_t i = 0; i < r.reads.size(); ++i) {
    const Agreement& a = r.reads[i].agreement;
    if (a.shift_bytes != 0) {
      const auto sector = static_cast<std::int64_t>(kSectorBytes);
      out.print("   read {} stands {} beside its place, and was moved back\n", i + 1,
                a.shift_bytes % sector == 0 ? fmt::format("{} sectors", a.shift_bytes / sector)
                                            : fmt::format("{} bytes", a.shift_bytes));
    }
  }
}

void combine_as_text(const CombineReport& r, const std::filesystem::path& to, Out& out) {
  const std::string name = shown(to.string());
  const std::uint64_t unit = r.raw ? kRawSectorBytes : kSectorBytes;
  out.print("{}: {} from LBA {} on, {} ({})\n", name, counted(r.sectors, "sector"), r.first_lba,
            human_bytes(r.sectors * unit), r.raw ? "whole sectors of 2352 bytes" : "user data, 2048 bytes a sector");
  out.print("beside it: {0}.map (the state of each sector), {0}.reads.jsonl (which read gave what){1}\n", name,
            r.has_cue ? fmt::format(", {}.cue (its tracks)", name) : "");
  list_reads(r, out);
  out.add("\nSECTORS\n");
  for (std::size_t how = 0; how < r.settled.size(); ++how) {
    if (r.settled[how] == 0) continue;
    out.print("{:>12}  {}\n", grouped(r.settled[how]), told(static_cast<Settled>(how)));
  }
  if (r.left_out != 0) {
    out.print("{:>12}  of these are in plain reads only, and left out of whole sectors\n", grouped(r.left_out));
  }
  if (!r.conflicts.empty()) {
    out.add("\nReads differ at ");
    for (std::size_t i = 0; i < std::min(r.conflicts.size(), kConflictsShown); ++i) {
      out.print("{}{}", i == 0 ? "" : ", ", lba_range(r.conflicts[i].first, r.conflicts[i].length()));
    }
    out.add(r.conflicts.size() > kConflictsShown ? ", and more; all are in the record\n" : "\n");
  }
  if (r.drive_requests != 0) {
    out.print("\nThe drive was asked {} times for {}.\n", grouped(r.drive_requests),
              counted(r.drive_sectors, "sector"));
  }
  if (r.basis == Basis::kAssumed) {
    out.add(
        "\nSome sectors rest on a read without a map alone: \"good\" means there that nothing speaks against them.\n");
  }
  const std::string image = shell_quoted(to.string() + (r.has_cue ? ".cue" : "")),
                    map = shell_quoted(to.string() + ".map");
  const std::string starts_at = r.first_lba == 0 || r.raw ? "" : fmt::format(" --starts-at {}", r.first_lba);
  out.print("\n  lacuna survey {}{} --map {}\n", image, starts_at, map);
}

void combine_as_json(const CombineReport& r, const std::filesystem::path& to, Out& out) {
  Json json(out);
  json.open_object();
  json.put("schema", "lacuna/combine/1");
  json.put("image", to.string());
  json.put("map", to.string() + ".map");
  json.put("record", to.string() + ".reads.jsonl");
  if (r.has_cue) json.put("cue", to.string() + ".cue");
  json.put("first_lba", r.first_lba);
  json.put("sectors", r.sectors);
  json.put("sector_bytes", r.raw ? kRawSectorBytes : kSectorBytes);
  json.put("basis", to_string(r.basis));
  json.open_array("reads");
  for (const ReadFacts& read : r.reads) {
    json.open_object();
    json.put("name", read.name);
    json.put("form", read.drive ? "drive" : read.raw ? "raw" : "plain");
    json.put("compared", read.agreement.compared);
    json.put("equal", read.agreement.equal);
    json.put("shift_bytes", read.agreement.shift_bytes);
    json.put("good", read.good);
    json.put("gave", read.gave);
    json.put("alone", read.alone);
    json.put("contradicted", read.contradicted);
    json.close_object();
  }
  json.close_array();
  json.open_object("states");
  for (std::size_t s = 0; s < r.states.size(); ++s) json.put(to_string(static_cast<SectorState>(s)), r.states[s]);
  json.close_object();
  json.open_object("settled");
  for (std::size_t s = 0; s < r.settled.size(); ++s) json.put(to_string(static_cast<Settled>(s)), r.settled[s]);
  json.close_object();
  json.open_array("conflicts");
  for (const Range& c : r.conflicts) {
    json.open_object();
    json.put("lba", c.first);
    json.put("sectors", c.length());
    json.close_object();
  }
  json.close_array();
  json.put("left_out", r.left_out);
  json.put("drive_requests", r.drive_requests);
  json.put("drive_sectors", r.drive_sectors);
  json.close_object();
  out.add('\n');
}

}  // namespace
}  // namespace report

void write_combine(const CombineReport& r, const std::filesystem::path& to, Format format, const Sink& sink) {
  report::Out out(sink);
  format == Format::kText ? report::combine_as_text(r, to, out) : report::combine_as_json(r, to, out);
  out.finish();
}

}  // namespace lacuna
