// SPDX-License-Identifier: GPL-3.0-or-later
#include <algorithm>
#include <memory>
#include <utility>

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
    bool first = true;
    return for_each_image(image, [&](const ImageArguments& one) {
      if (!std::exchange(first, false) && format.format() == Format::kText) standard_output()("\n");
      return survey(one);
    });
  }

 private:
  int survey(const ImageArguments& one) const {
    ProgressLine line(common.shows_progress());
    const OpenedDisc opened = one.open(common, line);
    const Hits hits = find_hits(*opened.disc, opened.verdicts);
    write_survey(*opened.disc, opened.verdicts, hits, opened.context, format.format(), standard_output());
    return opened.all_whole() ? kAllWhole : kLosses;
  }
};

}  // namespace

void add_survey(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("survey", "What this disc is, what is hurt, what can be had, what to do next");
  const auto args = std::make_shared<Survey>();
  args->image.add_many_to(*sub);
  args->common.add_to(*sub);
  args->format.add_to(*sub, {"text", "json"});
  sub->footer(
      "Examples:\n"
      "  lacuna survey harbour-1998.iso\n"
      "  lacuna survey harbour-1998.iso --map harbour-1998.map\n"
      "  lacuna survey --format json box/*.iso     (one line of JSON a disc)\n"
      "  lacuna survey harbour.001                 (harbour.002 and so on are found beside it)\n"
      "Exit status: 0 every file is whole; 1 something is hurt or doubtful; 3 no file system found.\n");
  sub->callback([&action, args] { action = [args] { return args->run(); }; });
}

}  // namespace lacuna::tool
