// SPDX-License-Identifier: GPL-3.0-or-later
// `lacuna manual`: manual pages, in the man(7) macros of roff.
#include <fmt/format.h>

#include <memory>

#include "command.h"
#include "command_facts.h"

namespace lacuna::tool {
namespace {

/// As running text: nothing in it is a request of roff, and a hyphen is one to be copied.
std::string roff(std::string_view text) {
  std::string out;
  if (text.starts_with('.') || text.starts_with('\'')) out += "\\&";
  for (const char c : text) {
    if (c == '\\') {
      out += "\\e";
    } else if (c == '-') {
      out += "\\-";
    } else {
      out += c;
    }
  }
  return out;
}

std::string upper(std::string text) {
  for (char& c : text) c = static_cast<char>(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
  return text;
}

class Page {
 public:
  explicit Page(const std::string& name) {
    text_ = ".\\\" Written by lacuna manual from what the command takes.\n";
    text_ +=
        fmt::format(".TH {} 1 \"\" \"lacuna {}\" \"Salvage from damaged discs\"\n", upper(roff(name)), LACUNA_VERSION);
  }
  void section(std::string_view title) { text_ += fmt::format(".SH {}\n", title); }
  void subsection(const std::string& title) { text_ += fmt::format(".SS {}\n", roff(title)); }
  void line(std::string_view text) { text_ += roff(text) + '\n'; }
  void paragraph() { text_ += ".PP\n"; }
  void bold(const std::string& text) { text_ += fmt::format("\\fB{}\\fR", roff(text)); }
  void italic(const std::string& text) { text_ += fmt::format("\\fI{}\\fR", roff(text)); }
  void raw(std::string_view text) { text_ += text; }
  std::string text() && { return std::move(text_); }

 private:
  std::string text_;
};

void put_positional(Page& page, const OptionFacts& positional) {
  page.raw(positional.required ? " " : " [");
  page.italic(positional.names.front());
  if (positional.repeats) page.raw("...");
  if (!positional.required) page.raw("]");
}

void put_option(Page& page, const OptionFacts& option) {
  page.raw(".TP\n");
  for (const std::string& name : option.names) {
    if (&name != &option.names.front()) page.raw(", ");
    option.names.front().starts_with('-') ? page.bold(name) : page.italic(name);
  }
  if (option.names.front().starts_with('-') && !option.value.empty()) {
    page.raw(" ");
    page.italic(option.value);
  }
  page.raw("\n");
  page.line(option.help);
}

/// What stands below the options of --help: examples, notes, exit status. Each gets a section.
void put_footer(Page& page, const std::string& footer) {
  constexpr std::string_view kExit = "Exit status: ";
  bool in_example = false, in_notes = false, in_exit = false;
  for (std::size_t at = 0; at < footer.size();) {
    const std::size_t end = std::min(footer.find('\n', at), footer.size());
    std::string line = footer.substr(at, end - at);
    at = end + 1;
    const bool is_example = line.starts_with("  ");
    if (in_example && !is_example) {
      page.raw(".EE\n");
      in_example = false;
    }
    if (line.empty()) continue;
    if (is_example) {
      if (!in_example) page.raw(".EX\n");
      in_example = true;
      page.line(line);
      continue;
    }
    if (line == "Examples:") {
      page.section("EXAMPLES");
      continue;
    }
    if (const std::size_t exit = line.find(kExit); exit != std::string::npos) {
      if (exit != 0) page.line(line.substr(0, exit));
      page.section("EXIT STATUS");
      in_exit = true;
      page.line(line.substr(exit + kExit.size()));
      continue;
    }
    if (!in_notes && !in_exit) page.section("NOTES");
    in_notes = true;
    page.line(line);
  }
  if (in_example) page.raw(".EE\n");
}

std::string page_of(const std::vector<CommandFacts>& commands, const CommandFacts& command) {
  const bool is_all = command.name.empty();
  const std::string name = is_all ? "lacuna" : "lacuna-" + command.name;
  Page page(name);
  page.section("NAME");
  page.line(fmt::format("{} - {}", name, is_all ? "get whole files out of images of damaged discs" : command.summary));
  page.section("SYNOPSIS");
  page.bold(is_all ? "lacuna" : "lacuna " + command.name);
  if (is_all) {
    page.raw(" ");
    page.italic("COMMAND");
  }
  page.raw(" [");
  page.italic("OPTIONS");
  page.raw("]");
  for (const OptionFacts& positional : command.positionals) put_positional(page, positional);
  page.raw("\n");
  page.section("DESCRIPTION");
  page.line(is_all ? command.summary : command.summary + ".");
  for (const OptionFacts& positional : command.positionals) put_option(page, positional);
  if (is_all) {
    page.section("COMMANDS");
    for (const CommandFacts& other : commands) {
      if (other.name.empty()) continue;
      page.raw(".TP\n");
      page.bold("lacuna-" + other.name);
      page.raw("(1)\n");
      page.line(other.summary);
    }
  }
  page.section("OPTIONS");
  std::string group = command.options.empty() ? "" : command.options.front().group;
  for (const OptionFacts& option : command.options) {
    if (option.group != group) page.subsection(group = option.group);
    put_option(page, option);
  }
  put_footer(page, command.footer);
  page.section("SEE ALSO");
  if (is_all) {
    page.line("The guides that come with Lacuna.");
  } else {
    page.bold("lacuna");
    page.raw("(1)\n");
  }
  return std::move(page).text();
}

}  // namespace

void add_manual(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("manual", "Print a manual page, of the whole or of one command");
  const auto wanted = std::make_shared<std::string>();
  sub->add_option("COMMAND", *wanted, "The command; default: lacuna itself")->option_text(" ");
  sub->footer(
      "Examples:\n"
      "  lacuna manual pull | man -l -\n"
      "  lacuna manual pull > lacuna-pull.1\n"
      "Exit status: 0; 2 there is no such command.\n");
  sub->callback([&app, &action, wanted] {
    action = [&app, wanted] {
      const std::vector<CommandFacts> commands = facts_of(app);
      for (const CommandFacts& command : commands) {
        if (command.name != *wanted) continue;
        standard_output()(page_of(commands, command));
        return kAllWhole;
      }
      throw Failure{kUsageError, "there is no command '" + *wanted + "'; lacuna --help lists them"};
    };
  });
}

}  // namespace lacuna::tool
