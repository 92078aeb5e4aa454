// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/pull.h"

#include <fmt/format.h>

#include <memory>

#include "command.h"
#include "donors.h"
#include "options.h"

namespace lacuna::tool {
namespace {

struct Pull {
  ImageArguments image;
  GlobArguments globs;
  CommonArguments common;
  FormatArgument format;
  std::string to;
  std::string to_plain;
  std::vector<std::string> twins;
  std::string audio_format = "wav";
  std::optional<std::uint32_t> track;
  std::vector<std::string> bag_info;
  std::string arrange = "tree";
  bool damaged = false, skip_programs = false, portable_names = false, replace = false, bag = false, once = false;

  int run() const {
    ProgressLine line(common.shows_progress());
    if (!to_plain.empty()) return write_plain(line);
    PullOptions options;
    for (const std::string& element : bag_info) options.bag_info.push_back(must(parse_bag_element(element)));
    const OpenedDisc opened = image.open(common, line);
    const bool all_match = globs.all_match(*opened.disc);
    std::unique_ptr<const Twins> donors;
    if (!twins.empty()) donors = look_at_donors(opened, image, twins, globs.globs(), common, line);
    options.to = to;
    options.only = globs.globs();
    options.damaged = damaged;
    options.skip_programs = skip_programs;
    options.portable_names = portable_names;
    options.replace = replace;
    options.bag = bag;
    options.arrangement = *arrangement_from(arrange);
    options.once = once;
    options.completions = donors.get();
    if (audio_format == "flac") options.audio_format = AudioFormat::kFlac;
    options.threads = static_cast<unsigned>(common.threads);
    options.progress = line.callback();
    Result<PullReport> report = pull(*opened.disc, opened.verdicts, options);
    line.erase();
    if (!report && report.error().code == ErrorCode::kCancelled) {
      throw Failure{kInterrupted, "stopped; files already in " + to + " are complete, the same command goes on"};
    }
    const PullReport done = must(std::move(report));
    write_pull(*opened.disc, opened.verdicts, done, options, opened.context, format.format(), standard_output());
    return status(opened, done, all_match, donors.get());
  }

 private:
  int write_plain(ProgressLine& line) const {
    const std::unique_ptr<Image> opened = image.open_image(common, line);
    for (const Finding& f : opened->findings().list()) {
      if (f.severity != Severity::kNote) common.note(f.subject + ": " + f.text);
    }
    Result<PlainImage> written = write_plain_image(*opened, {to_plain, track, line.callback()});
    line.erase();
    const PlainImage done = must(std::move(written));
    standard_output()(fmt::format("{}: {} sectors from LBA {} on, {} of them missing (holes); map: {}.map\n", to_plain,
                                  grouped(done.sectors), done.first_lba, grouped(done.missing), to_plain));
    standard_output()(fmt::format("  lacuna survey {}{} --map {}\n", shell_quoted(to_plain),
                                  done.first_lba == 0 ? "" : fmt::format(" --starts-at {}", done.first_lba),
                                  shell_quoted(to_plain + ".map")));
    return done.missing == 0 ? kAllWhole : kLosses;
  }

  int status(const OpenedDisc& opened, const PullReport& report, bool all_match, const Twins* donors) const {
    if (bag && !report.bag_closed && report.findings.counts().contains("bag-not-closed")) return kUnwritable;
    bool losses = (donors != nullptr && !all_looked_at(*donors)) || !all_match ||
                  (opened.may_hide_files() && !globs.name_single_files(*opened.disc));
    for (const PulledFile& f : report.files) {
      if (f.outcome == PullOutcome::kFailed || f.outcome == PullOutcome::kBlocked) return kUnwritable;
      const FileState state = f.completed ? donors->of(f.node)->state : opened.verdicts.of(f.node).state;
      losses = losses || state != FileState::kWhole;
    }
    return losses ? kLosses : kAllWhole;
  }
};

}  // namespace

void add_pull(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("pull", "Get files out into a folder: whole ones, and doubtful ones, marked");
  const auto args = std::make_shared<Pull>();
  args->image.add_to(*sub);
  args->globs.add_to(*sub);
  CLI::Option* to = sub->add_option("--to", args->to, "The folder; made when missing")->option_text("DIR");
  CLI::Option* plain = sub->add_option("--to-plain", args->to_plain,
                                       "Of a raw image: a data track as a plain image with its map, instead of files")
                           ->option_text("FILE")
                           ->excludes(to);
  sub->add_option("--track", args->track, "Which track --to-plain writes; default: the first of data")
      ->option_text("N")
      ->needs(plain);
  add_repeated(*sub, "--twins", args->twins,
               "Complete files from another image that holds the same: FILE[,map=FILE]...; repeat it")
      ->option_text("DONOR")
      ->excludes(plain);
  sub->add_flag("--damaged", args->damaged, "Damaged files too, into _damaged/ with a list of each one's gaps");
  sub->add_flag("--skip-programs", args->skip_programs,
                "Leave programs inside the image (they are listed): virus scanners may delete old ones");
  sub->add_flag("--portable-names", args->portable_names,
                "Names that also hold where letter case does not count and on other systems");
  sub->add_option("--audio-format", args->audio_format, "What audio tracks become: wav or flac")
      ->check(CLI::IsMember({"wav", "flac"}))
      ->option_text("wav|flac");
  CLI::Option* replace = sub->add_flag("--replace", args->replace, "Replace files that are in the way");
  CLI::Option* bag =
      sub->add_flag("--bag", args->bag, "DIR becomes a BagIt bag (RFC 8493), the files below data/")->excludes(plain);
  add_repeated(*sub, "--bag-info", args->bag_info,
               "An element of the bag's bag-info.txt, such as\n'Source-Organization: Harbour Museum'; repeat it")
      ->option_text("'LABEL: VALUE'")
      ->needs(bag);
  sub->add_option("--arrange", args->arrange,
                  "Lay the files out by the year of their last change, by kind (photos, video,\n"
                  "audio, documents, other), or both; DIR takes many discs then")
      ->check(CLI::IsMember({"year", "kind", "year/kind"}))
      ->option_text("year|kind|year/kind")
      ->excludes(plain);
  sub->add_flag("--once", args->once,
                "Store files that are equal in every byte once; DIR takes many discs then, and the\n"
                "manifests say which paths each file stands for")
      ->excludes(plain)
      ->excludes(replace);
  args->common.add_to(*sub);
  args->format.add_to(*sub, {"text", "json"});
  sub->footer(
      "Examples:\n"
      "  lacuna pull harbour-1998.iso --map harbour-1998.map --to harbour-files\n"
      "  lacuna pull harbour-1998.iso 'photos/**' --to photos --damaged\n"
      "  lacuna pull packets-2003.iso --to packets --deleted  (deleted files beside the others, as NAME~2 if need be)\n"
      "  lacuna pull harbour-1998.iso --to harbour-bag --bag --bag-info 'Source-Organization: Harbour Museum'\n"
      "  for d in box/*.iso; do lacuna pull \"$d\" --to archive --bag --arrange year/kind --once; done\n"
      "                                   (a box of discs in one archive, each file once, ready to hand over)\n"
      "Nothing that is already there is overwritten, and nothing is written outside DIR. Run again, it does what is\n"
      "missing. DIR gets lacuna-manifest.jsonl (what each file is worth) and SHA256SUMS (for sha256sum -c). With\n"
      "--arrange or --once there is a manifest for each disc, in lacuna-discs/. A folder keeps the layout that it was\n"
      "begun with. A bag has its bagit.txt only while it is complete; docs/archive.md tells more.\n"
      "Exit status: 0 all asked for is whole and in DIR; 1 some is not whole; 4 something could not be written.\n");
  sub->callback([&action, args] {
    if (args->to.empty() && args->to_plain.empty()) throw CLI::RequiredError("--to DIR or --to-plain FILE");
    action = [args] { return args->run(); };
  });
}

}  // namespace lacuna::tool
