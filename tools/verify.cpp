// SPDX-License-Identifier: GPL-3.0-or-later
#include <algorithm>
#include <memory>
#include <string>
#include <vector>

#include "command.h"
#include "lacuna/pull.h"
#include "options.h"

namespace lacuna::tool {
namespace {

struct Verify {
  std::vector<std::string> folders;
  CommonArguments common;
  FormatArgument format;

  int run() const {
    int worst = kAllWhole;
    for (const std::string& folder : folders) worst = std::max(worst, check(folder));
    return worst;
  }

 private:
  int check(const std::string& folder) const {
    ProgressLine line(common.shows_progress());
    Result<VerifyReport> report = verify(folder, static_cast<unsigned>(common.threads), line.callback());
    line.erase();
    if (!report && report.error().code != ErrorCode::kCancelled && folders.size() > 1) {
      say(report.error().message);
      return kUnreadable;
    }
    // A manifest that can't be read is an input that can't be read, not a wrong request.
    if (!report && report.error().code == ErrorCode::kBadInput) throw Failure{kUnreadable, report.error().message};
    const VerifyReport done = must(std::move(report));
    write_verify(done, folder, format.format(), standard_output());
    return done.problems.empty() ? kAllWhole : kLosses;
  }
};

}  // namespace

void add_verify(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("verify", "Check what was pulled against its manifest and checksums");
  const auto args = std::make_shared<Verify>();
  sub->add_option("DIR", args->folders, "The folder that was pulled to")->required()->option_text("...");
  args->common.add_to(*sub);
  args->format.add_to(*sub, {"text", "json"});
  sub->footer(
      "Examples:\n"
      "  lacuna verify harbour-files\n"
      "  lacuna verify --format json pulled/*      (one line of JSON a folder)\n"
      "Exit status: 0 all as the manifest says; 1 files are missing, changed or surplus; 3 no manifest that can be\n"
      "read.\n");
  sub->callback([&action, args] { action = [args] { return args->run(); }; });
}

}  // namespace lacuna::tool
