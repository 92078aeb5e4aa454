// SPDX-License-Identifier: GPL-3.0-or-later
// What became of a pull, and of a check of what was pulled.
#include <array>

#include "report/basis.h"
#include "report/json.h"
#include "report/words.h"

namespace lacuna {
namespace report {
namespace {

constexpr std::size_t kProblemsShown = 20;

std::uint64_t count_of(const PullReport& r, PullOutcome o) { return r.counts[static_cast<std::size_t>(o)]; }

/// What a file is worth: as judged, or as completed.
struct PulledAs {
  FileState state;
  Basis basis;
  std::uint64_t missing_bytes;
  const Completion* completion;
};

PulledAs pulled_as(const Verdicts& verdicts, const PullOptions& options, const PulledFile& f) {
  const Verdict& v = verdicts.of(f.node);
  if (f.completed) {
    const Completion* c = options.completions->of(f.node);
    return {c->state, c->basis, 0, c};
  }
  return {v.state, v.basis, v.missing_bytes, nullptr};
}

/// "1 file, 12 kB" of what is in the folder now, by state.
std::array<StateCount, kFileStateCount> states_of_pulled(const Disc& disc, const Verdicts& verdicts,
                                                         const PullReport& report, const PullOptions& options) {
  std::array<StateCount, kFileStateCount> counts{};
  for (const PulledFile& f : report.files) {
    if (f.outcome != PullOutcome::kPulled && f.outcome != PullOutcome::kAlreadyThere) continue;
    const PulledAs as = pulled_as(verdicts, options, f);
    StateCount& c = counts[static_cast<std::size_t>(as.state)];
    ++c.files;
    c.bytes += disc.tree().node(f.node).size;
    c.missing_bytes += as.missing_bytes;
  }
  return counts;
}

/// The files of one outcome, some of them by name.
void list_outcome(const Disc& disc, const PullReport& report, PullOutcome outcome, std::string_view title, Out& out) {
  const std::uint64_t all = count_of(report, outcome);
  if (all == 0) return;
  out.print("\n{}: {}\n", title, counted(all, "file"));
  std::size_t listed = 0;
  for (const PulledFile& f : report.files) {
    if (f.outcome != outcome) continue;
    if (listed++ == kProblemsShown) break;
    out.print("  {}{}\n", shown(disc.tree().path(f.node)), f.why.empty() ? "" : ": " + shown(f.why));
  }
  if (all > kProblemsShown) out.print("  and {} more, all of them in the manifest\n", grouped(all - kProblemsShown));
}

void pull_as_text(const Disc& disc, const Verdicts& verdicts, const PullReport& report, const PullOptions& options,
                  const ReportContext& context, Out& out) {
  const std::string image =
      context.image_arguments.empty() ? shell_quoted(disc.image().name()) : context.image_arguments;
  const std::string folder = shell_quoted(options.to.string());
  out.print("{} written to {}: {}", human_bytes(report.bytes_written), shown(folder),
            counted(count_of(report, PullOutcome::kPulled), "file"));
  if (const std::uint64_t there = count_of(report, PullOutcome::kAlreadyThere); there != 0) {
    out.print("; {} there from before, unchanged", counted(there, "file"));
  }
  out.add('\n');
  const auto counts = states_of_pulled(disc, verdicts, report, options);
  for (std::size_t i = 0; i < counts.size(); ++i) {
    const StateCount& c = counts[i];
    if (c.files == 0) continue;
    out.print("  {:<9} {:>13}  {:>8}{}\n", to_string(static_cast<FileState>(i)), grouped(c.files), human_bytes(c.bytes),
              c.missing_bytes == 0 ? "" : fmt::format("   {} missing", human_bytes(c.missing_bytes)));
  }

  std::uint64_t completed = 0, surely = 0, shared = 0;
  for (const PulledFile& f : report.files) {
    completed += f.completed;
    shared += f.shared;
    surely += f.completed && pulled_as(verdicts, options, f).state == FileState::kWhole;
  }
  if (completed != 0) {
    out.print("  {} with what other images hold, {} of them whole; the manifest says what from where\n",
              counted(completed, "file"), grouped(surely));
  }

  if (shared != 0) {
    out.print("  {}, {}, stored already under another path; the manifest says under which\n", counted(shared, "file"),
              human_bytes(report.bytes_shared));
  }
  if (report.bag_closed) out.print("  {} is a complete bag\n", shown(folder));

  list_outcome(disc, report, PullOutcome::kFailed, "Could not be written", out);
  list_outcome(disc, report, PullOutcome::kBlocked, "Something else is in the way", out);
  list_outcome(disc, report, PullOutcome::kLeftDamaged, "Not whole, left in the image", out);
  list_outcome(disc, report, PullOutcome::kLeftProgram, "Programs, left in the image as asked", out);
  list_outcome(disc, report, PullOutcome::kLeftSpecial,
               options.bag || options.once || options.arrangement != Arrangement::kTree
                   ? "Links, devices and the like, recorded but not made"
                   : "Devices and the like, never made",
               out);
  for (const Finding& f : report.findings.list()) {
    if (f.severity != Severity::kNote) out.print("\n{}: {}\n", shown(f.subject), shown(f.text));
  }
  if (verdicts.hurt_directories() != 0) {
    out.print("\n{} could not be read in full: there may be files that nothing names.\n",
              counted(verdicts.hurt_directories(), "directory", "directories"));
  }

  out.add("\nWHAT NEXT\n");
  if (count_of(report, PullOutcome::kBlocked) != 0) {
    out.print("  {}, or pull to another folder\n",
              options.once ? "Move what is in the way elsewhere" : "Replace what is in the way (add --replace)");
  }
  if (count_of(report, PullOutcome::kFailed) != 0) {
    out.add("  Make room or choose another folder; the same command goes on where it stopped\n");
  }
  if (count_of(report, PullOutcome::kLeftDamaged) != 0) {
    if (!options.damaged) {
      out.print("  Take the damaged ones too, into _damaged/\n       lacuna pull {} --to {} --damaged\n", shown(image),
                shown(folder));
    }
    out.print("  See which sectors they lack\n       lacuna hits {}\n", shown(image));
  }
  out.print("  Check the folder, now and in years\n       lacuna verify {}\n", shown(folder));
  if (const std::string basis = basis_statement(verdicts.basis(), context); !basis.empty()) {
    out.add('\n');
    out.add(basis);
  }
}

void pull_as_json(const Disc& disc, const Verdicts& verdicts, const PullReport& report, const PullOptions& options,
                  const ReportContext& context, Out& out) {
  Json json(out);
  json.open_object();
  json.put("schema", "lacuna/pull/1");
  put_image(json, disc, verdicts, context);
  open_summary(json, disc, verdicts);
  json.open_object("outcomes");
  for (std::size_t i = 0; i < report.counts.size(); ++i) {
    json.put(to_string(static_cast<PullOutcome>(i)), report.counts[i]);
  }
  json.close_object();
  json.put("bytes_written", report.bytes_written);
  if (options.once) json.put("bytes_shared", report.bytes_shared);
  if (options.bag) json.put("bag_closed", report.bag_closed);
  json.close_object();
  json.put("to", options.to.string());
  json.open_array("files");
  for (const PulledFile& f : report.files) {
    const PulledAs as = pulled_as(verdicts, options, f);
    json.open_object();
    json.put("path", disc.tree().path(f.node));
    json.put("size", disc.tree().node(f.node).size);
    json.put("state", to_string(as.state));
    json.put("missing_bytes", as.missing_bytes);
    json.put("basis", to_string(as.basis));
    if (as.completion != nullptr) {
      json.put("evidence", to_string(Evidence::kTwin));
      json.open_array("donors");
      for (const Donation& d : as.completion->donors) {
        json.open_object();
        json.put("image", d.image);
        json.put("path", d.path);
        json.put("bytes", d.bytes);
        json.close_object();
      }
      json.close_array();
    }
    json.put("outcome", to_string(f.outcome));
    json.put_text("target", f.target);
    if (f.shared) json.put("shared", true);
    json.put_text("why", f.why);
    json.close_object();
  }
  json.close_array();
  put_findings(json, report.findings);
  json.close_object();
  out.add('\n');
}

void verify_as_text(const VerifyReport& report, const std::filesystem::path& folder, Out& out) {
  const std::string name = shown(shell_quoted(folder.string()));
  if (report.problems.empty()) {
    out.print("{}: all as the manifest says, {}, {}.\n", name, counted(report.files_right, "file"),
              human_bytes(report.bytes_right));
  } else {
    out.print("{}: {}; {} as the manifest says, {}.\n\n", name, counted(report.problems.size(), "problem"),
              counted(report.files_right, "file"), human_bytes(report.bytes_right));
    for (const VerifyProblem& p : report.problems) {
      out.print("  {:<12}  {}{}\n", to_string(p.kind), shown(p.path), p.text.empty() ? "" : ": " + shown(p.text));
    }
    out.add(
        "\nWHAT NEXT\n  Missing or changed: move what is changed aside and pull again from the image; a pull does only "
        "what is\n"
        "  missing. Surplus: nothing that Lacuna wrote; keep it elsewhere if it matters.\n");
  }
  if (report.not_whole != 0) {
    out.print("{} of this disc {} not whole in the image; the manifest lists what is missing.\n",
              counted(report.not_whole, "file"), report.not_whole == 1 ? "was" : "were");
  }
}

void verify_as_json(const VerifyReport& report, const std::filesystem::path& folder, Out& out) {
  Json json(out);
  json.open_object();
  json.put("schema", "lacuna/verify/1");
  json.put("folder", folder.string());
  json.open_object("summary");
  json.put("files_right", report.files_right);
  json.put("bytes_right", report.bytes_right);
  json.put("problems", std::uint64_t{report.problems.size()});
  json.put("not_whole", report.not_whole);
  json.close_object();
  json.open_array("problems");
  for (const VerifyProblem& p : report.problems) {
    json.open_object();
    json.put("kind", to_string(p.kind));
    json.put("path", p.path);
    json.put("text", p.text);
    json.close_object();
  }
  json.close_array();
  json.close_object();
  out.add('\n');
}

}  // namespace
}  // namespace report

void write_pull(const Disc& disc, const Verdicts& verdicts, const PullReport& report, const PullOptions& options,
                const ReportContext& context, Format format, const Sink& sink) {
  report::Out out(sink);
  if (format == Format::kText) {
    report::pull_as_text(disc, verdicts, report, options, context, out);
  } else {
    report::pull_as_json(disc, verdicts, report, options, context, out);
  }
  out.finish();
}

void write_verify(const VerifyReport& report, const std::filesystem::path& folder, Format format, const Sink& sink) {
  report::Out out(sink);
  if (format == Format::kText) {
    report::verify_as_text(report, folder, out);
  } else {
    report::verify_as_json(report, folder, out);
  }
  out.finish();
}

}  // namespace lacuna
