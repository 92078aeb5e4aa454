// SPDX-License-Identifier: GPL-3.0-or-later
// `lacuna completion`: what makes a shell complete commands, options, words and paths.
#include <fmt/format.h>

#include <memory>

#include "command.h"
#include "command_facts.h"

namespace lacuna::tool {
namespace {

using Commands = std::vector<CommandFacts>;

std::string joined(const std::vector<std::string>& words, std::string_view between = " ") {
  std::string all;
  for (const std::string& word : words) all.append(all.empty() ? "" : between).append(word);
  return all;
}

std::vector<std::string> names_of(const Commands& commands) {
  std::vector<std::string> names;
  for (const CommandFacts& command : commands) {
    if (!command.name.empty()) names.push_back(command.name);
  }
  return names;
}

std::vector<std::string> options_of(const CommandFacts& command) {
  std::vector<std::string> names;
  for (const OptionFacts& option : command.options) names.insert(names.end(), option.names.begin(), option.names.end());
  return names;
}

/// Words for a positional, where it has certain ones.
std::vector<std::string> positional_words(const Commands& commands, const CommandFacts& command) {
  if (command.name == "manual") return names_of(commands);
  return command.positionals.empty() ? std::vector<std::string>{} : command.positionals.front().words;
}

std::string for_bash(const Commands& commands) {
  std::string words_by_option, options, positionals;
  for (const CommandFacts& command : commands) {
    for (const OptionFacts& option : command.options) {
      const std::string takes = !option.words.empty()   ? fmt::format("words='{}'", joined(option.words))
                                : takes_path(option)    ? "paths=yes"
                                : !option.value.empty() ? "return"
                                                        : "";
      if (takes.empty()) continue;
      for (const std::string& name : option.names) {
        words_by_option += fmt::format("    '{} {}') {} ;;\n", command.name, name, takes);
      }
    }
    options += fmt::format("      '{}') words='{}' ;;\n", command.name, joined(options_of(command)));
    const std::vector<std::string> words =
        command.name.empty() ? names_of(commands) : positional_words(commands, command);
    if (!words.empty()) positionals += fmt::format("      '{}') words='{}' ;;\n", command.name, joined(words));
  }
  return fmt::format(R"(# Completion of lacuna for bash; written by `lacuna completion bash`.
_lacuna() {{
  local current=${{COMP_WORDS[COMP_CWORD]}} before=${{COMP_WORDS[COMP_CWORD-1]}}
  local command='' word words='' paths=''
  COMPREPLY=()
  for word in "${{COMP_WORDS[@]:1:COMP_CWORD-1}}"; do
    case $word in
      {}) command=$word; break ;;
    esac
  done
  case "$command $before" in
{}  esac
  if [[ -z $words && -z $paths && $current == -* ]]; then
    case $command in
{}    esac
  elif [[ -z $words && -z $paths ]]; then
    case $command in
{}      *) paths=yes ;;
    esac
  fi
  # After a comma the next word of a list.
  if [[ -n $words ]]; then
    mapfile -t COMPREPLY < <(compgen -P "${{current%"${{current##*,}}"}}" -W "$words" -- "${{current##*,}}")
  else
    compopt -o filenames 2>/dev/null
    mapfile -t COMPREPLY < <(compgen -f -- "$current")
  fi
}}
complete -F _lacuna lacuna
)",
                     joined(names_of(commands), "|"), words_by_option, options, positionals);
}

/// Within single quotes of zsh and fish.
std::string quoted(std::string_view text, std::string_view special) {
  std::string out;
  for (const char c : text) {
    if (c == '\'') {
      out += "'\\''";
      continue;
    }
    if (special.find(c) != std::string_view::npos) out += '\\';
    out += c;
  }
  return out;
}

std::string zsh_action(const OptionFacts& option) {
  const std::string value = quoted(option.value, ":\\");
  if (!option.words.empty()) {
    return option.is_list ? fmt::format(":{}:_values -s , word {}", value, joined(option.words))
                          : fmt::format(":{}:({})", value, joined(option.words));
  }
  if (option.value.empty()) return "";
  return fmt::format(":{}:{}", value, takes_path(option) ? "_files" : " ");
}

std::string for_zsh(const Commands& commands) {
  std::string summaries, cases;
  for (const CommandFacts& command : commands) {
    if (command.name.empty()) continue;
    summaries += fmt::format("    '{}:{}'\n", command.name, quoted(command.summary, ":"));
    cases += fmt::format("    {})\n      _arguments -s", command.name);
    for (const OptionFacts& option : command.options) {
      for (const std::string& name : option.names) {
        cases += fmt::format(" \\\n        '{}{}[{}]{}'", option.repeats ? "*" : "", name, quoted(option.help, "[]\\"),
                             zsh_action(option));
      }
    }
    const std::vector<std::string> words = positional_words(commands, command);
    cases +=
        words.empty() ? " \\\n        '*:path:_files'\n" : fmt::format(" \\\n        '1:word:({})'\n", joined(words));
    cases += "      ;;\n";
  }
  return fmt::format(R"(#compdef lacuna
# Completion of lacuna for zsh; written by `lacuna completion zsh`.
_lacuna() {{
  local -a commands
  commands=(
{}  )
  if (( CURRENT == 2 )); then
    _describe command commands
    return
  fi
  local command=$words[2]
  shift words
  (( CURRENT-- ))
  case $command in
{}  esac
}}
if [[ $zsh_eval_context[-1] == loadautofunc ]]; then _lacuna "$@"; else compdef _lacuna lacuna; fi
)",
                     summaries, cases);
}

std::string for_fish(const Commands& commands) {
  std::string out = "# Completion of lacuna for fish; written by `lacuna completion fish`.\n";
  const std::string all = joined(names_of(commands));
  for (const CommandFacts& command : commands) {
    const std::string when =
        command.name.empty() ? "__fish_use_subcommand" : "__fish_seen_subcommand_from " + command.name;
    if (!command.name.empty()) {
      out += fmt::format("complete -c lacuna -n __fish_use_subcommand -f -a {} -d '{}'\n", command.name,
                         quoted(command.summary, "\\"));
    }
    const std::vector<std::string> words = positional_words(commands, command);
    if (!words.empty()) out += fmt::format("complete -c lacuna -n '{}' -f -a '{}'\n", when, joined(words));
    for (const OptionFacts& option : command.options) {
      std::string names;
      for (const std::string& name : option.names) {
        names += name.starts_with("--") ? " -l " + name.substr(2) : " -s " + name.substr(1);
      }
      const std::string value = !option.words.empty()   ? fmt::format(" -x -a '{}'", joined(option.words))
                                : takes_path(option)    ? " -r -F"
                                : !option.value.empty() ? " -x"
                                                        : "";
      out += fmt::format("complete -c lacuna -n '{}'{}{} -d '{}'\n", when, names, value, quoted(option.help, "\\"));
    }
  }
  return out;
}

}  // namespace

void add_completion(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("completion", "Print what makes a shell complete lacuna's commands and options");
  const auto shell = std::make_shared<std::string>();
  sub->add_option("SHELL", *shell, "bash, zsh or fish")
      ->required()
      ->check(CLI::IsMember({"bash", "zsh", "fish"}))
      ->option_text(" ");
  sub->footer(
      "Examples:\n"
      "  lacuna completion bash > ~/.local/share/bash-completion/completions/lacuna\n"
      "  lacuna completion zsh > ~/.zfunc/_lacuna          (a folder of your fpath)\n"
      "  lacuna completion fish > ~/.config/fish/completions/lacuna.fish\n"
      "Exit status: 0; 2 usage.\n");
  sub->callback([&app, &action, shell] {
    action = [&app, shell] {
      const Commands commands = facts_of(app);
      standard_output()(*shell == "bash"  ? for_bash(commands)
                        : *shell == "zsh" ? for_zsh(commands)
                                          : for_fish(commands));
      return kAllWhole;
    };
  });
}

}  // namespace lacuna::tool
