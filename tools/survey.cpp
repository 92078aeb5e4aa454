// SPDX-License-Identifier: GPL-3.0-or-later
#include <memory>

#include "command.h"
#include "lacuna/hits.h"
#include "options.h"

namespace lacuna::tool {
namespace {

struct Survey {
  ImageArguments image;
  CommonArguments common;
  FormatArgument format;

  int run() const {
    ProgressLine line(common.shows_progress());
    const OpenedDisc opened = image.open(common, line);
    const Hits hits = find_hits(*opened.disc, opened.verdicts);
    write_survey(*opened.disc, opened.verdicts, hits, opened.context, format.format(), standard_output());
    std::uint64_t not_whole = 0;
    for (std::size_t i = 1; i < opened.verdicts.counts().size(); ++i) not_whole += opened.verdicts.counts()[i].files;
    return not_whole != 0 || opened.may_hide_files() ? kLosses : kAllWhole;
  }
};

}  // namespace

void add_survey(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("survey", "What this disc is, what is hurt, what can be had, what to do next");
  const auto args = std::make_shared<Survey>();
  args->image.add_to(*sub);
  args->common.add_to(*sub);
  args->format.add_to(*sub, {"text", "json"});
  sub->footer(
      "Examples:\n"
      "  lacuna survey harbour-1998.iso\n"
      "  lacuna survey harbour-1998.iso --map harbour-1998.map\n"
      "  lacuna survey harbour.001                 (harbour.002 and so on are found beside it)\n"
      "Exit status: 0 every file is whole; 1 something is hurt or doubtful; 3 no file system found.\n");
  sub->callback([&action, args] { action = [args] { return args->run(); }; });
}

}  // namespace lacuna::tool
