// SPDX-License-Identifier: GPL-3.0-or-later
#include <algorithm>
#include <memory>

#include "command.h"
#include "options.h"

namespace lacuna::tool {
namespace {

struct Map {
  ImageArguments image;
  CommonArguments common;
  FormatArgument format;

  int run() const {
    ProgressLine line(common.shows_progress());
    const std::unique_ptr<Image> opened = image.open_image(common, line);
    for (const Finding& f : opened->findings().list()) {
      if (f.severity != Severity::kNote) common.note(f.subject + ": " + f.text);
    }
    if (!opened->has_map() && !image.no_look_inside) infer(*opened, line);
    line.erase();
    const SectorMap states = opened->states();
    const std::uint64_t end = opened->end_lba();
    standard_output()(format.format() == Format::kJson ? to_map_json(states, end) : to_map_text(states, end));
    const std::vector<SectorRun> runs = states.slice(0, end);
    const bool all_good =
        std::ranges::all_of(runs, [](const SectorRun& r) { return r.state <= SectorState::kRepaired; });
    return all_good ? kAllWhole : kLosses;
  }

 private:
  /// Looks inside the files, which teaches the image what speaks against its sectors.
  void infer(const Image& opened, ProgressLine& line) const {
    DiscOptions options = image.disc_options();
    options.threads = static_cast<unsigned>(common.threads);
    options.progress = line.callback();
    Result<std::unique_ptr<const Disc>> disc = open_disc(opened, options);
    if (!disc && disc.error().code == ErrorCode::kNoFileSystem) {
      common.note(image.image + ": no file system found, so nothing was inferred from the contents of files");
      return;
    }
    const std::unique_ptr<const Disc> read = must(std::move(disc));
    JudgeOptions judge_options;
    judge_options.threads = static_cast<unsigned>(common.threads);
    judge_options.progress = line.callback();
    must(judge(*read, judge_options));
  }
};

}  // namespace

void add_map(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("map", "The state of every sector as known: to convert a map, or to infer one");
  const auto args = std::make_shared<Map>();
  args->image.add_to(*sub);
  args->common.add_to(*sub);
  args->format.add_to(*sub, {"text", "json"});
  sub->footer(
      "Examples:\n"
      "  lacuna map harbour-1998.iso > harbour-1998.map\n"
      "  lacuna map harbour-1998.iso --map reader.log --map-columns first,count,state --map-bad failed > harbour.map\n"
      "Several --map are united: each sector gets the worst state that any of them says. A map inferred without any\n"
      "--map calls good what nothing speaks against: it is no proof that those sectors were read.\n"
      "Exit status: 0 every sector is good or repaired; 1 some are not.\n");
  sub->callback([&action, args] { action = [args] { return args->run(); }; });
}

}  // namespace lacuna::tool
