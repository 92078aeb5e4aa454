// SPDX-License-Identifier: GPL-3.0-or-later
#include "command_facts.h"

#include <algorithm>
#include <array>

namespace lacuna::tool {
namespace {

std::string in_one_line(std::string text) {
  std::ranges::replace(text, '\n', ' ');
  while (!text.empty() && text.back() == ' ') text.pop_back();
  return text;
}

/// The words that a check allows. CLI11 describes it as "TEXT:{auto,off}".
std::vector<std::string> words_of(const CLI::Option& option) {
  const std::string type = option.get_type_name();
  const std::size_t open = type.find('{'), close = type.rfind('}');
  std::vector<std::string> words;
  if (open == std::string::npos || close == std::string::npos || close < open) return words;
  for (std::size_t at = open + 1; at <= close;) {
    const std::size_t end = std::min(type.find(',', at), close);
    words.push_back(type.substr(at, end - at));
    at = end + 1;
  }
  return words;
}

OptionFacts facts_of(const CLI::Option& option) {
  OptionFacts facts;
  if (option.get_positional()) {
    facts.names.push_back(option.get_name(true));
  } else {
    for (const std::string& name : option.get_snames()) facts.names.push_back("-" + name);
    for (const std::string& name : option.get_lnames()) facts.names.push_back("--" + name);
  }
  facts.value = option.get_option_text();
  facts.help = in_one_line(option.get_description());
  facts.group = option.get_group();
  facts.words = words_of(option);
  facts.is_list = option.get_delimiter() != '\0';
  facts.required = option.get_required();
  facts.repeats = option.get_items_expected_max() > 1;
  return facts;
}

CommandFacts facts_of_one(const CLI::App& app) {
  CommandFacts facts;
  facts.name = app.get_parent() == nullptr ? "" : app.get_name();
  facts.summary = in_one_line(app.get_description());
  facts.footer = app.get_footer();
  for (const CLI::Option* option : app.get_options()) {
    (option->get_positional() ? facts.positionals : facts.options).push_back(facts_of(*option));
  }
  // As --help has them: first those without a heading of their own.
  // Not std::ranges::stable_partition: clang++ 14 can't compile libstdc++ 12's subrange.
  std::stable_partition(facts.options.begin(), facts.options.end(),
                        [](const OptionFacts& o) { return o.group == "Options"; });
  return facts;
}

}  // namespace

std::vector<CommandFacts> facts_of(const CLI::App& app) {
  std::vector<CommandFacts> all{facts_of_one(app)};
  for (const CLI::App* sub : app.get_subcommands([](const CLI::App*) { return true; })) {
    all.push_back(facts_of_one(*sub));
  }
  return all;
}

bool takes_path(const OptionFacts& option) {
  static constexpr std::array<std::string_view, 4> kPaths{"FILE", "DIR", "NAME", "DONOR"};
  return std::ranges::find(kPaths, option.value) != kPaths.end();
}

}  // namespace lacuna::tool
