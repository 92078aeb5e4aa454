// SPDX-License-Identifier: GPL-3.0-or-later
#include <memory>

#include "command.h"
#include "donors.h"
#include "options.h"

namespace lacuna::tool {
namespace {

struct TwinsCommand {
  ImageArguments image;
  std::vector<std::string> donors;
  CommonArguments common;
  FormatArgument format;

  int run() const {
    ProgressLine line(common.shows_progress());
    OpenedDisc opened = image.open(common, line);
    const auto twins = look_at_donors(opened, image, donors, {}, common, line);
    for (const std::string& d : donors) opened.context.donor_arguments += " --twins " + shell_quoted(d);
    write_twins(*opened.disc, opened.verdicts, *twins, opened.context, format.format(), standard_output());
    bool losses = opened.may_hide_files() || !all_looked_at(*twins);
    const Tree& tree = opened.disc->tree();
    for (NodeId id = kRoot + 1; id < tree.size() && !losses; ++id) {
      if (tree.node(id).is_directory() || opened.verdicts.of(id).state == FileState::kWhole) continue;
      const Completion* completion = twins->of(id);
      losses = completion == nullptr || completion->state != FileState::kWhole;
    }
    return losses ? kLosses : kAllWhole;
  }
};

}  // namespace

void add_twins(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("twins", "What other images hold of the files that are not whole here");
  const auto args = std::make_shared<TwinsCommand>();
  args->image.add_to(*sub);
  sub->add_option("DONOR", args->donors, "Other images: FILE[,map=FILE]... with what is known of each one's sectors")
      ->required()
      ->option_text("...");
  args->common.add_to(*sub);
  args->format.add_to(*sub, {"text", "json", "ndjson"});
  sub->footer(
      "Examples:\n"
      "  lacuna twins harbour-1998.iso --map harbour-1998.map backup-1999.iso,map=backup-1999.map backup-2001.iso\n"
      "  lacuna pull harbour-1998.iso --map harbour-1998.map --twins backup-2001.iso --to harbour-files\n"
      "A file is the same on another image when size and date are equal, and every byte that both have, and enough of\n"
      "them tell something: docs/twins.md has the rule. Anything less makes it doubtful at most, and the doubt says "
      "why.\n"
      "Exit status: 0 all files are whole with what the donors hold; 1 some are not, or a donor could not be looked "
      "at.\n");
  sub->callback([&action, args] { action = [args] { return args->run(); }; });
}

}  // namespace lacuna::tool
