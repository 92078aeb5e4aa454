// SPDX-License-Identifier: GPL-3.0-or-later
#include <memory>

#include "command.h"
#include "options.h"

namespace lacuna::tool {
namespace {

struct Files {
  ImageArguments image;
  GlobArguments globs;
  CommonArguments common;
  FormatArgument format;
  std::vector<std::string> states;

  int run() const {
    ProgressLine line(common.shows_progress());
    const OpenedDisc opened = image.open(common, line);
    const bool all_match = globs.all_match(*opened.disc);
    FileFilter filter;
    filter.only = globs.globs();
    for (const std::string& word : states) filter.states.push_back(*file_state_from(word));
    const ListingTotals totals =
        write_files(*opened.disc, opened.verdicts, filter, opened.context, format.format(), standard_output());
    const bool may_miss = opened.may_hide_files() && !globs.name_single_files(*opened.disc);
    return totals.not_whole != 0 || !all_match || may_miss ? kLosses : kAllWhole;
  }
};

}  // namespace

void add_files(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("files", "Every file and its state");
  const auto args = std::make_shared<Files>();
  args->image.add_to(*sub);
  args->globs.add_to(*sub);
  add_repeated(*sub, "--state", args->states, "Only these states: whole, doubtful, damaged, lost, unlocated")
      ->delimiter(',')
      ->option_text("STATE,...")
      ->check(CLI::IsMember({"whole", "doubtful", "damaged", "lost", "unlocated"}));
  args->common.add_to(*sub);
  args->format.add_to(*sub, {"text", "json", "ndjson", "csv"});
  sub->footer(
      "Examples:\n"
      "  lacuna files harbour-1998.iso --state damaged,lost\n"
      "  lacuna files harbour-1998.iso 'photos/**/*.jpg' --format csv\n"
      "  lacuna files harbour-1998.iso --format ndjson | head -n 1\n"
      "  lacuna files packets-2003.iso --deleted --streams    (a UDF disc, with all that it names)\n"
      "States: whole: every byte was read; doubtful: every byte is there, something speaks against one; damaged: some\n"
      "bytes are missing; lost: no byte is there; unlocated: the name is known, where its data lies is not.\n"
      "Exit status: 0 all listed files are whole; 1 some are not, a GLOB matches nothing, or a directory that could\n"
      "not be read may have held more.\n");
  sub->callback([&action, args] { action = [args] { return args->run(); }; });
}

}  // namespace lacuna::tool
