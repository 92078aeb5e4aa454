// SPDX-License-Identifier: GPL-3.0-or-later
// What the subcommands share: how they are hung into the command, how they end, and where their output goes.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <string>
#include <utility>

#include "lacuna/report.h"
#include "lacuna/result.h"

namespace lacuna::tool {

/// Exit statuses; docs/cli has them. Scripts rest on these numbers.
enum Exit : int {
  kAllWhole = 0,       ///< All that was asked for is whole.
  kLosses = 1,         ///< Done, with losses or doubts.
  kUsageError = 2,     ///< The request is wrong: options, a map's line.
  kUnreadable = 3,     ///< An input can't be read, or no file system was found.
  kUnwritable = 4,     ///< Something could not be written.
  kInterrupted = 130,  ///< Ctrl-C (128 + SIGINT, as shells have it).
  kPipeClosed = 141    ///< The reader of standard output went away (128 + SIGPIPE).
};

/// Ends the command with this status; main() prints the message, if any, to standard error.
struct Failure {
  int status;
  std::string message;
};
[[noreturn]] void fail(const Error& error);

/// The value, or the end of the command.
template <class T>
T must(Result<T> result) {
  if (!result) fail(result.error());
  return std::move(result).value();
}

/// What the command line asked for, to be run when all of it has been read. Gives the exit status.
using Action = std::function<int()>;

// One file each. They add the subcommand and, when it is chosen, set the action.
void add_survey(CLI::App& app, Action& action);
void add_files(CLI::App& app, Action& action);
void add_hits(CLI::App& app, Action& action);
void add_pull(CLI::App& app, Action& action);
void add_twins(CLI::App& app, Action& action);
void add_map(CLI::App& app, Action& action);
void add_combine(CLI::App& app, Action& action);
void add_plan(CLI::App& app, Action& action);
void add_report(CLI::App& app, Action& action);
void add_verify(CLI::App& app, Action& action);
void add_mount(CLI::App& app, Action& action);
void add_manual(CLI::App& app, Action& action);
void add_completion(CLI::App& app, Action& action);

/// Standard output as a sink. It throws Failure when the output can't be written, its reader has gone, or Ctrl-C was
/// pressed.
const Sink& standard_output();
/// One line to standard error, "lacuna: …", made fit for a terminal.
void say(const std::string& message);
/// Opens whatever of the three standard streams is closed on /dev/null, so that no file of ours gets their numbers.
void secure_standard_streams();

}  // namespace lacuna::tool
