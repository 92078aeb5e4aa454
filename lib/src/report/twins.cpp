// SPDX-License-Identifier: GPL-3.0-or-later
// What other images can do for the files that are not whole: file by file, as text, JSON or NDJSON.
#include <algorithm>
#include <array>

#include "report/basis.h"
#include "report/json.h"
#include "report/words.h"

namespace lacuna {
namespace report {
namespace {

constexpr std::size_t kDonorsShown = 4;
constexpr std::size_t kTwinDoubtsShown = 3;

struct TwinTotals {
  std::array<std::uint64_t, kTwinOutcomeCount> files{}, bytes{};
  std::uint64_t otherwise = 0;  // not whole, and not of those that lack bytes
};

TwinTotals total_twins(const Verdicts& verdicts, const Twins& twins) {
  TwinTotals t;
  for (const TwinFile& f : twins.files()) {
    ++t.files[static_cast<std::size_t>(f.outcome)];
    t.bytes[static_cast<std::size_t>(f.outcome)] += f.lacking_bytes;
  }
  for (std::size_t s = 0; s < verdicts.counts().size(); ++s) {
    if (static_cast<FileState>(s) != FileState::kWhole) t.otherwise += verdicts.counts()[s].files;
  }
  t.otherwise -= std::min<std::uint64_t>(t.otherwise, twins.files().size());
  return t;
}

std::string_view outcome_words(TwinOutcome outcome) {
  switch (outcome) {
    case TwinOutcome::kWhole:
      return "whole with what others hold";
    case TwinOutcome::kDoubtful:
      return "complete with what others hold, but doubtful";
    case TwinOutcome::kContradicted:
      return "not completed: donors contradict each other";
    case TwinOutcome::kPartly:
      return "not completed: donors hold a part of what is missing";
    case TwinOutcome::kCandidates:
      return "not completed: only candidates";
    case TwinOutcome::kNothing:
      return "nothing found";
  }
  return {};
}

class TwinsText {
 public:
  TwinsText(const Disc& disc, const Verdicts& verdicts, const Twins& twins, const ReportContext& context, Out& out)
      : disc_(disc), verdicts_(verdicts), twins_(twins), context_(context), out_(out) {}

  void write() {
    const auto count = static_cast<std::size_t>(
        std::count_if(twins_.donors().begin(), twins_.donors().end(), [](const TwinDonor& d) { return !d.itself; }));
    out_.print("{} lack{} bytes; {} looked at.\n", counted(twins_.files().size(), "file"),
               twins_.files().size() == 1 ? "s" : "", counted(count, "donor"));
    for (const TwinDonor& d : twins_.donors()) {
      if (!d.problem.empty()) out_.print("  {}: not looked at: {}\n", shown(d.image), shown(d.problem));
      if (d.incomplete) {
        out_.print("  {}: not all of it compared: it has too many files of equal sizes\n", shown(d.image));
      }
    }
    for (const TwinFile& f : twins_.files()) file(f);
    totals();
  }

 private:
  const std::string& image(std::uint32_t donor) const { return twins_.donors()[donor].image; }

  void file(const TwinFile& f) {
    const Node& n = disc_.tree().node(f.node);
    const Verdict& v = verdicts_.of(f.node);
    out_.print("\n{}\n", shown(disc_.tree().path(f.node)));
    out_.print("  {}, {}, {} of it lacking: {}\n", to_string(v.state), human_bytes(n.size),
               human_bytes(f.lacking_bytes), outcome_words(f.outcome));
    std::size_t left = kDonorsShown, more = 0;
    const auto room = [&] {
      if (left == 0) ++more;
      return left != 0 && left-- != 0;
    };
    for (const TwinMatch& m : f.matches) {
      if (!room()) continue;
      out_.print("    {} on {}: equal in {}, {} compared; has {} of what is lacking\n", shown(m.path),
                 shown(image(m.donor)), human_bytes(m.shared_bytes), counted(m.shared_blocks, "telling block"),
                 human_bytes(m.gives_bytes));
    }
    for (const TwinCandidate& c : f.candidates) {
      if (room()) out_.print("    {} on {}: {}\n", shown(c.path), shown(image(c.donor)), candidate_words(c));
    }
    if (more + f.more != 0) out_.print("    and {} more\n", grouped(more + f.more));
    for (std::size_t i = 0; i < f.doubts.size() && i < kTwinDoubtsShown; ++i) {
      out_.print("    doubt: {}\n", shown(f.doubts[i]));
    }
    if (f.doubts.size() > kTwinDoubtsShown) {
      out_.print("    and {} more, see --format json\n", counted(f.doubts.size() - kTwinDoubtsShown, "doubt"));
    }
  }

  static std::string candidate_words(const TwinCandidate& c) {
    switch (c.kind) {
      case TwinCandidate::Kind::kSameNameAndDate:
        return fmt::format("same name, size and date, {} there; nothing can be compared", to_string(c.state));
      case TwinCandidate::Kind::kDoubtfulThere:
        return fmt::format("same name, size and date, {} there", to_string(c.state));
      case TwinCandidate::Kind::kDiffers:
        return fmt::format("same name and size, but differs near byte {}: another version", c.differs_at);
      case TwinCandidate::Kind::kAgrees:
        return fmt::format("same size and equal in {}, but of another name and date",
                           counted(c.shared_blocks, "telling block"));
    }
    return {};
  }

  void totals() {
    const TwinTotals t = total_twins(verdicts_, twins_);
    out_.add('\n');
    for (std::size_t i = 0; i < t.files.size(); ++i) {
      if (t.files[i] == 0) continue;
      out_.print("{:<12} {:>8}  {:>8} lacking\n", to_string(static_cast<TwinOutcome>(i)), grouped(t.files[i]),
                 human_bytes(t.bytes[i]));
    }
    if (t.otherwise != 0) {
      out_.print("{} not whole for other reasons than missing bytes; no twin helps there.\n",
                 counted(t.otherwise, "file"));
    }
    if (t.files[static_cast<std::size_t>(TwinOutcome::kWhole)] != 0 ||
        t.files[static_cast<std::size_t>(TwinOutcome::kDoubtful)] != 0) {
      std::string donors = context_.donor_arguments;
      if (donors.empty()) {
        for (const TwinDonor& d : twins_.donors()) {
          if (!d.itself) donors += " --twins " + shell_quoted(d.image);
        }
      }
      const std::string image =
          context_.image_arguments.empty() ? shell_quoted(disc_.image().name()) : context_.image_arguments;
      out_.print("\nWHAT NEXT\n  Pull them with the rest\n       lacuna pull {}{} --to DIR\n", shown(image),
                 shown(donors));
    }
    if (const std::string basis = basis_statement(verdicts_.basis(), context_); !basis.empty()) {
      out_.add('\n');
      out_.add(basis);
    }
  }

  const Disc& disc_;
  const Verdicts& verdicts_;
  const Twins& twins_;
  const ReportContext& context_;
  Out& out_;
};

void put_twin_ranges(Json& json, std::span<const Range> ranges) {
  json.open_array("ranges");
  for (const Range& r : ranges) {
    json.open_object();
    json.put("offset", r.first);
    json.put("length", r.length());
    json.close_object();
  }
  json.close_array();
}

void put_texts(Json& json, std::string_view key, const std::vector<std::string>& texts) {
  json.open_array(key);
  for (const std::string& t : texts) json.value(t);
  json.close_array();
}

void put_twin_file(Json& json, const Disc& disc, const Verdicts& verdicts, const Twins& twins, const TwinFile& f) {
  const Node& n = disc.tree().node(f.node);
  json.open_object();
  json.put("path", disc.tree().path(f.node));
  json.put("size", n.size);
  json.put("modified", n.modified);
  json.put("state", to_string(verdicts.of(f.node).state));
  json.put("outcome", to_string(f.outcome));
  if (f.completion) {
    json.put("evidence", to_string(Evidence::kTwin));
    json.put("basis", to_string(f.completion->basis));
  }
  json.put("lacking_bytes", f.lacking_bytes);
  json.put("found_bytes", f.found_bytes);
  if (f.completion) {
    json.open_array("donors");
    for (const Donation& d : f.completion->donors) {
      json.open_object();
      json.put("image", d.image);
      json.put("path", d.path);
      json.put("bytes", d.bytes);
      put_twin_ranges(json, d.ranges);
      json.close_object();
    }
    json.close_array();
  }
  json.open_array("matches");
  for (const TwinMatch& m : f.matches) {
    json.open_object();
    json.put("image", twins.donors()[m.donor].image);
    json.put("path", m.path);
    json.put("basis", to_string(m.basis));
    json.put("shared_bytes", m.shared_bytes);
    json.put("telling_blocks", m.shared_blocks);
    json.put("gives_bytes", m.gives_bytes);
    put_texts(json, "doubts", m.doubts);
    json.close_object();
  }
  json.close_array();
  json.open_array("candidates");
  for (const TwinCandidate& c : f.candidates) {
    json.open_object();
    json.put("image", twins.donors()[c.donor].image);
    json.put("path", c.path);
    json.put("kind", to_string(c.kind));
    json.put("state", to_string(c.state));
    json.put("modified", c.modified);
    if (c.kind == TwinCandidate::Kind::kDiffers) json.put("differs_at", c.differs_at);
    if (c.kind == TwinCandidate::Kind::kAgrees) json.put("telling_blocks", c.shared_blocks);
    json.close_object();
  }
  json.close_array();
  if (f.more != 0) json.put("more", f.more);
  put_texts(json, "doubts", f.doubts);
  json.close_object();
}

void twins_as_json(const Disc& disc, const Verdicts& verdicts, const Twins& twins, const ReportContext& context,
                   bool lines, Out& out) {
  const TwinTotals t = total_twins(verdicts, twins);
  Json head(out), item(out);
  head.open_object();
  head.put("schema", "lacuna/twins/1");
  put_image(head, disc, verdicts, context);
  open_summary(head, disc, verdicts);
  head.open_object("outcomes");
  for (std::size_t i = 0; i < t.files.size(); ++i) {
    head.open_object(to_string(static_cast<TwinOutcome>(i)));
    head.put("files", t.files[i]);
    head.put("lacking_bytes", t.bytes[i]);
    head.close_object();
  }
  head.close_object();
  head.put("not_whole_otherwise", t.otherwise);
  head.close_object();
  head.open_array("donors");
  for (const TwinDonor& d : twins.donors()) {
    head.open_object();
    head.put("image", d.image);
    if (d.itself) head.put("itself", true);
    head.put_text("volume", d.volume_id);
    if (d.problem.empty()) head.put("basis", to_string(d.basis));
    head.put("files", d.files);
    head.put("looked_at", d.looked_at);
    if (d.incomplete) head.put("incomplete", true);
    head.put_text("problem", d.problem);
    head.close_object();
  }
  head.close_array();
  if (lines) {
    head.close_object();
    out.add('\n');
  } else {
    head.open_array("files");
  }
  bool first = true;
  for (const TwinFile& f : twins.files()) {
    if (!lines) out.add(first ? "\n" : ",\n");
    first = false;
    item.restart();
    put_twin_file(item, disc, verdicts, twins, f);
    if (lines) out.add('\n');
  }
  if (lines) return;
  out.add('\n');
  head.close_array();
  head.close_object();
  out.add('\n');
}

}  // namespace
}  // namespace report

void write_twins(const Disc& disc, const Verdicts& verdicts, const Twins& twins, const ReportContext& context,
                 Format format, const Sink& sink) {
  report::Out out(sink);
  if (format == Format::kText) {
    report::TwinsText(disc, verdicts, twins, context, out).write();
  } else {
    report::twins_as_json(disc, verdicts, twins, context, format == Format::kNdjson, out);
  }
  out.finish();
}

}  // namespace lacuna
