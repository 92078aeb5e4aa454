// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/plan.h"

#include <memory>

#include "command.h"
#include "options.h"
#include "want_arguments.h"

namespace lacuna::tool {
namespace {

constexpr std::uint64_t kMostRows = 1'000'000;

struct PlanCommand {
  ImageArguments image;
  CommonArguments common;
  FormatArgument format;
  WantArguments first;
  std::uint64_t budget = 0, rows = 20;
  bool has_budget = false, all = false;

  int run() const {
    ProgressLine line(common.shows_progress());
    const OpenedDisc opened = image.open(common, line);
    PlanOptions options = first.plan_options();
    if (has_budget) options.budget_sectors = budget;
    options.all = all;
    const bool want_matches = first.want.all_match(*opened.disc);
    first.skip.all_match(*opened.disc);
    const Plan plan = must(make_plan(*opened.disc, opened.verdicts, options));
    if (format.word == "list") {
      write_plan_list(plan, standard_output());
    } else {
      PlanReport report;
      report.rows = static_cast<std::size_t>(rows);
      report.combine_image = combine_image();
      write_plan(*opened.disc, opened.verdicts, plan, report, opened.context, format.format(), standard_output());
    }
    return plan.steps.empty() && want_matches ? kAllWhole : kLosses;
  }

 private:
  /// IMAGE,map=MAP as combine takes it; empty where that can't say how this image is read.
  std::string combine_image() const {
    if (!image.map_columns.empty() || image.map_unit != "sectors") return {};
    std::string text = image.image.starts_with('-') ? "./" + image.image : image.image;
    for (const std::string& part : image.parts) text += ",part=" + part;
    for (const std::string& map : image.maps) text += ",map=" + map;
    if (image.starts_at != 0) text += ",starts-at=" + std::to_string(image.starts_at);
    return shell_quoted(text);
  }
};

}  // namespace

void add_plan(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("plan", "Which sectors are worth another try, in the order of what they bring");
  const auto args = std::make_shared<PlanCommand>();
  args->image.add_to(*sub);
  args->first.add_to(*sub);
  add_number(*sub, "--budget", args->budget, "Read no more than so many sectors", kMaxSectors);
  sub->add_flag("--all", args->all, "In the end also what nothing is known to need");
  add_number(*sub, "--rows", args->rows, "Rows of the table, about; 0: one a step. Default: 20", kMostRows);
  args->common.add_to(*sub);
  args->format.add_to(*sub, {"text", "json", "list"});
  sub->footer(
      "Examples:\n"
      "  lacuna plan harbour-1998.iso --map harbour-1998.map\n"
      "  lacuna plan harbour-1998.iso --map harbour-1998.map --want-kind photos --skip '*.exe'\n"
      "  lacuna plan harbour-1998.iso --map harbour-1998.map --budget 500 --format list > again.txt\n"
      "The list has FIRST COUNT a line, in sectors and in the order of the plan.\n"
      "Exit status: 0 nothing is worth a try; 1 there is something to read again, or a wanted GLOB matches\n"
      "nothing.\n");
  sub->callback([&action, args, sub] {
    args->has_budget = sub->count("--budget") != 0;
    action = [args] { return args->run(); };
  });
}

}  // namespace lacuna::tool
