// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/hits.h"

#include <memory>

#include "command.h"
#include "options.h"

namespace lacuna::tool {
namespace {

struct HitsCommand {
  ImageArguments image;
  CommonArguments common;
  FormatArgument format;

  int run() const {
    ProgressLine line(common.shows_progress());
    const OpenedDisc opened = image.open(common, line);
    const Hits hits = find_hits(*opened.disc, opened.verdicts);
    write_hits(*opened.disc, opened.verdicts, hits, opened.context, format.format(), standard_output());
    return hits.targets.empty() ? kAllWhole : kLosses;
  }
};

}  // namespace

void add_hits(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("hits", "Every unreadable range, and the files and structures that it hits");
  const auto args = std::make_shared<HitsCommand>();
  args->image.add_to(*sub);
  args->common.add_to(*sub);
  args->format.add_to(*sub, {"text", "json", "ndjson", "csv"});
  sub->footer(
      "Examples:\n"
      "  lacuna hits harbour-1998.iso --map harbour-1998.map\n"
      "  lacuna hits harbour-1998.iso --format csv > hits.csv\n"
      "Exit status: 0 no file and no structure is hit; 1 some are.\n");
  sub->callback([&action, args] { action = [args] { return args->run(); }; });
}

}  // namespace lacuna::tool
