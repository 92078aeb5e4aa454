// SPDX-License-Identifier: GPL-3.0-or-later
// The `lacuna` command: reads the command line, runs one subcommand, turns failures into exit statuses.
#include <signal.h>

#include <exception>
#include <new>

#include "command.h"
#include "progress.h"

namespace lacuna::tool {
namespace {

int run(int argc, char** argv) {
  CLI::App app(
      "Lacuna reads images of optical discs that have holes, says file by file what can still be had whole,\n"
      "and gets it out. Images are only ever read.",
      "lacuna");
  app.set_version_flag("--version", "lacuna " LACUNA_VERSION, "Say the version and exit");
  app.set_help_flag("--help,-h", "Say this and exit; after a subcommand: its options");
  app.require_subcommand(1);
  app.get_formatter()->column_width(28);
  app.footer(
      "From a damaged image to a verified folder:\n"
      "  lacuna survey harbour-1998.iso --map harbour-1998.map\n"
      "  lacuna pull   harbour-1998.iso --map harbour-1998.map --to harbour-files\n"
      "  lacuna verify harbour-files\n"
      "Never spin a cracked or delaminating disc: it can shatter in the drive. Keep the disc and its image.\n"
      "\n"
      "Results go to standard output, notes and errors to standard error. Exit status: 0 all that was asked is whole;\n"
      "1 done, with losses or doubts; 2 usage; 3 not readable, or no file system found; 4 could not write;\n"
      "130 interrupted.\n");
  Action action;
  add_survey(app, action);
  add_files(app, action);
  add_hits(app, action);
  add_pull(app, action);
  add_twins(app, action);
  add_map(app, action);
  add_combine(app, action);
  add_plan(app, action);
  add_report(app, action);
  add_verify(app, action);
  add_mount(app, action);
  add_manual(app, action);
  add_completion(app, action);

  try {
    app.parse(argc, argv);
  } catch (const CLI::CallForHelp&) {
    standard_output()(app.help());  // Of the subcommand, when one was named.
    return kAllWhole;
  } catch (const CLI::CallForVersion&) {
    standard_output()("lacuna " LACUNA_VERSION "\n");
    return kAllWhole;
  } catch (const CLI::ParseError& e) {
    const auto chosen = app.get_subcommands();
    say(std::string(e.what()) + "; see lacuna " + (chosen.empty() ? "" : chosen.front()->get_name() + " ") + "--help");
    return kUsageError;
  }
  return action();
}

}  // namespace
}  // namespace lacuna::tool

int main(int argc, char** argv) {
  using namespace lacuna::tool;
  secure_standard_streams();
  signal(SIGPIPE, SIG_IGN);  // A reader that went away is seen when writing.
  catch_interrupts();
  try {
    return run(argc, argv);
  } catch (const Failure& f) {
    if (!f.message.empty()) say(f.message);
    return f.status;
  } catch (const std::bad_alloc&) {
    say("out of memory");
    return kUnreadable;
  } catch (const std::exception& e) {
    say(e.what());
    return kUnreadable;
  }
}
