// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/combine.h"

#include <fmt/format.h>

#include <memory>
#include <vector>

#include "command.h"
#include "image_argument.h"
#include "options.h"
#include "want_arguments.h"

namespace lacuna::tool {
namespace {

struct Combine {
  std::vector<std::string> reads;
  CommonArguments common;
  FormatArgument format;
  WantArguments first;
  std::string to, form = "auto";
  bool force = false, wanted_only = false;
  std::uint64_t passes = 3;
  double limit_seconds = 20;

  int run() const {
    ProgressLine line(common.shows_progress());
    std::vector<std::unique_ptr<Image>> images;
    std::vector<DiscRead> all;
    for (const std::string& text : reads) {
      const ImageArgument argument = ImageArgument::parse(text);
      DiscRead read{argument.path, nullptr, {}, argument.maps, sources_of(argument.path)};
      if (argument.drive) {
        if (!argument.maps.empty() || !argument.parts.empty() || argument.starts_at != 0) {
          throw Failure{kUsageError, "'" + text + "': a drive is read now, and takes no map, part or start"};
        }
        read.drive = argument.path;
      } else {
        images.push_back(argument.open(common, line));
        read.image = images.back().get();
      }
      all.push_back(std::move(read));
    }
    CombineOptions options;
    options.to = to;
    options.form = form == "plain" ? ImageForm::kPlain : form == "raw" ? ImageForm::kRaw : ImageForm::kAuto;
    options.force = force;
    options.drive.passes = static_cast<unsigned>(passes);
    options.drive.limit_seconds = limit_seconds;
    options.drive.wanted_only = wanted_only;
    options.drive.plan = first.plan_options();
    options.threads = static_cast<unsigned>(common.threads);
    options.progress = line.callback();
    Result<CombineReport> report = combine_reads(all, options);
    line.erase();
    if (!report && report.error().code == ErrorCode::kCancelled) {
      throw Failure{kInterrupted, all.back().image == nullptr
                                      ? "stopped; what the drive gave is kept, the same command goes on from there"
                                      : "stopped; nothing was written"};
    }
    const CombineReport done = must(std::move(report));
    write_combine(done, to, format.format(), standard_output());
    const auto count = [&](SectorState s) { return done.states[static_cast<std::size_t>(s)]; };
    return count(SectorState::kGood) + count(SectorState::kRepaired) == done.sectors ? kAllWhole : kLosses;
  }
};

}  // namespace

void add_combine(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("combine", "Several reads of one disc into the best image of it, and its map");
  const auto args = std::make_shared<Combine>();
  sub->add_option("READ", args->reads,
                  "An image of the disc, or last of all the drive with the disc in it. Behind the\n"
                  "name, with a comma before each: map=FILE (again for more), part=FILE,\n"
                  "starts-at=LBA, drive=yes (read it like a drive)")
      ->required()
      ->option_text("...");
  sub->add_option("--to", args->to, "The image to write; NAME.map and NAME.reads.jsonl go beside it")
      ->required()
      ->option_text("NAME");
  sub->add_option("--form", args->form, "plain: 2048 bytes a sector; raw: 2352; auto: raw when every read is")
      ->check(CLI::IsMember({"auto", "plain", "raw"}))
      ->option_text("auto|plain|raw");
  sub->add_flag("--force", args->force,
                "Take reads for the same disc that do not look like it, and several that go back to one");
  const std::string drive = "The drive";
  add_number(*sub, "--passes", args->passes, "How often it is asked for a sector that it can not read; default: 3",
             1000)
      ->option_text("N")
      ->group(drive);
  sub->add_option("--limit", args->limit_seconds, "Longest wait for one answer, in seconds; default: 20")
      ->check(CLI::Range(0.01, 3600.0))
      ->option_text("SECONDS")
      ->group(drive);
  sub->add_flag("--wanted-only", args->wanted_only, "Only what files and structures need, not the sectors between them")
      ->group(drive);
  args->first.add_to(*sub);
  args->common.add_to(*sub);
  args->format.add_to(*sub, {"text", "json"});
  sub->footer(
      "Examples:\n"
      "  lacuna combine --to harbour.iso  old-drive.iso,map=old-drive.map  new-drive.iso,map=new-drive.map\n"
      "  lacuna combine --to harbour.iso  old-drive.iso,map=old-drive.map  /dev/sr0\n"
      "Each sector is taken from the read with the best evidence for it: proven by its own code, repaired, the same "
      "in\n"
      "two reads, good in one. Where reads differ and no majority decides, it is suspect. A drive is asked only for\n"
      "what no image has, what matters most first; stopped or killed, the same command goes on where it was.\n"
      "No read is ever changed. Never spin a cracked or delaminating disc: it can shatter in the drive.\n"
      "Exit status: 0 every sector is there and good; 1 some are missing or suspect; 2 reads of another disc.\n");
  sub->callback([&action, args] { action = [args] { return args->run(); }; });
}

}  // namespace lacuna::tool
