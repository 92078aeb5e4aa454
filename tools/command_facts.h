// SPDX-License-Identifier: GPL-3.0-or-later
// The command line as facts, read from the parser itself: manual pages and completions are written from them and so
// can't drift from what the command takes.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

namespace lacuna::tool {

struct OptionFacts {
  std::vector<std::string> names;  ///< "--map", "-h"; of a positional its name alone.
  std::string value;               ///< What follows it, "FILE"; empty for a flag.
  std::string help;                ///< One line.
  std::string group;               ///< Heading that it stands under.
  std::vector<std::string> words;  ///< All that it takes, when those are certain words.
  bool is_list = false;            ///< Takes several at once, with commas between.
  bool required = false, repeats = false;
};

struct CommandFacts {
  std::string name;  ///< Empty: the command itself.
  std::string summary;
  std::string footer;  ///< As --help prints it.
  std::vector<OptionFacts> positionals, options;
};

/// The command itself first, then its subcommands in their order.
std::vector<CommandFacts> facts_of(const CLI::App& app);

/// True when an option's value is a path.
bool takes_path(const OptionFacts& option);

}  // namespace lacuna::tool
