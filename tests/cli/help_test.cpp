// SPDX-License-Identifier: GPL-3.0-or-later
// Manual pages and completions, by the programs that read them.
#include <fmt/format.h>

#include <algorithm>
#include <regex>
#include <set>
#include <sstream>

#include "cli/command.h"

namespace lacuna::test {
namespace {

using ::testing::Contains;
using ::testing::Each;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;
using ::testing::StartsWith;

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

/// All commands, as the command itself lists them.
std::vector<std::string> commands() {
  std::vector<std::string> names;
  bool listed = false;
  for (const std::string& line : lines_of(lacuna({"--help"}).out)) {
    if (line == "Subcommands:")
      listed = true;
    else if (line.empty())
      listed = false;
    else if (listed && line.size() > 2 && line[2] != ' ')
      names.push_back(line.substr(2, line.find(' ', 2) - 2));
  }
  return names;
}

std::set<std::string> options_in(const std::string& text) {
  static const std::regex option("--[a-z][a-z-]*");
  return {std::sregex_token_iterator(text.begin(), text.end(), option), {}};
}

ProcessResult shell(const std::string& program, const std::string& script) {
  return run_process({program, program == "/usr/bin/zsh" ? "-fc" : "-c", script});
}

TEST(Help, EachCommandHasAManualPageWithAllItsOptions) {
  const std::vector<std::string> names = commands();
  ASSERT_THAT(names, Contains("survey"));
  ASSERT_THAT(names, Contains("mount"));
  ScratchFolder scratch;
  for (const std::string& name : names) {
    const ProcessResult page = lacuna({"manual", name});
    ASSERT_EQ(page.status, 0) << name << page.err;
    write_file(scratch / "page", page.out);
    // groff warns of what it can't make sense of.
    const ProcessResult read =
        run_process({"/usr/bin/groff", "-man", "-ww", "-Tascii", "-P-cbou", (scratch / "page").string()});
    EXPECT_EQ(read.status, 0) << name;
    EXPECT_THAT(read.err, IsEmpty()) << name;
    const std::string help = lacuna({name, "--help"}).out;
    const std::set<std::string> in_page = options_in(read.out);
    for (const std::string& option : options_in(help)) EXPECT_THAT(in_page, Contains(option)) << name;
    EXPECT_THAT(read.out, HasSubstr("EXIT STATUS")) << name;
    EXPECT_THAT(read.out, HasSubstr("EXAMPLES")) << name;
  }
  const ProcessResult whole = lacuna({"manual"});
  for (const std::string& name : names) EXPECT_THAT(whole.out, HasSubstr("lacuna\\-" + name)) << name;
  EXPECT_EQ(lacuna({"manual", "nonsense"}).status, 2);
}

class Completion : public ::testing::Test {
 protected:
  /// What bash would offer for the last of these words.
  std::vector<std::string> bash(const std::vector<std::string>& words) const {
    std::string script =
        fmt::format("cd '{}'; source <('{}' completion bash); COMP_WORDS=(", scratch_.path().string(), LACUNA_COMMAND);
    for (const std::string& word : words) script += fmt::format(" '{}'", word);
    script += fmt::format("); COMP_CWORD={}; _lacuna; printf '%s\\n' \"${{COMPREPLY[@]}}\"", words.size() - 1);
    const ProcessResult done = shell("/bin/bash", script);
    EXPECT_EQ(done.err, "");
    std::vector<std::string> offered = lines_of(done.out);
    std::ranges::sort(offered);
    return offered;
  }

  ScratchFolder scratch_;
};

TEST_F(Completion, BashOffersCommandsOptionsWordsAndPaths) {
  write_file(scratch_ / "harbour 1998.iso", "");
  write_file(scratch_ / "harbour.map", "");
  EXPECT_THAT(bash({"lacuna", "su"}), ElementsAre("survey"));
  EXPECT_THAT(bash({"lacuna", "files", "--sta"}), ElementsAre("--starts-at", "--state"));
  EXPECT_THAT(bash({"lacuna", "files", "--format", ""}), ElementsAre("csv", "json", "ndjson", "text"));
  EXPECT_THAT(bash({"lacuna", "files", "--format", "nd"}), ElementsAre("ndjson"));
  EXPECT_THAT(bash({"lacuna", "files", "--state", "whole,d"}), ElementsAre("whole,damaged", "whole,doubtful"));
  EXPECT_THAT(bash({"lacuna", "files", "harb"}), ElementsAre("harbour 1998.iso", "harbour.map"));
  EXPECT_THAT(bash({"lacuna", "files", "--map", "harbour."}), ElementsAre("harbour.map"));
  EXPECT_THAT(bash({"lacuna", "files", "--threads", ""}), ElementsAre(""));
  EXPECT_THAT(bash({"lacuna", "manual", "ver"}), ElementsAre("verify"));
  EXPECT_THAT(bash({"lacuna", "completion", ""}), ElementsAre("bash", "fish", "zsh"));
  EXPECT_THAT(bash({"lacuna", "--vers"}), ElementsAre("--version"));
}

TEST_F(Completion, FishOffersThem) {
  const auto fish = [&](const std::string& line) {
    const ProcessResult done =
        shell("/usr/bin/fish", fmt::format("cd '{}'; '{}' completion fish | source; complete -C '{}'",
                                           scratch_.path().string(), LACUNA_COMMAND, line));
    EXPECT_EQ(done.err, "");
    std::vector<std::string> offered = lines_of(done.out);
    for (std::string& word : offered) word = word.substr(0, word.find('\t'));
    std::ranges::sort(offered);
    return offered;
  };
  write_file(scratch_ / "harbour.map", "");
  EXPECT_THAT(fish("lacuna su"), ElementsAre("survey"));
  EXPECT_THAT(fish("lacuna files --sta"), ElementsAre("--starts-at", "--state"));
  EXPECT_THAT(fish("lacuna files --format "), ElementsAre("csv", "json", "ndjson", "text"));
  EXPECT_THAT(fish("lacuna files --map harb"), ElementsAre("harbour.map"));
  EXPECT_THAT(fish("lacuna completion "), ElementsAre("bash", "fish", "zsh"));
}

// The specifications that zsh's own _arguments gets, and that it takes them.
TEST_F(Completion, ZshOffersThem) {
  const ProcessResult file = lacuna({"completion", "zsh"});
  write_file(scratch_ / "_lacuna", file.out);
  const auto zsh = [&](const std::string& words) {
    return shell("/usr/bin/zsh", fmt::format("compdef() {{ }}; source '{}'; _arguments() {{ print -rl -- \"$@\" }}; "
                                             "_describe() {{ print -rl -- \"${{(@P)2}}\" }}; words=({}); "
                                             "CURRENT=${{#words}}; _lacuna",
                                             (scratch_ / "_lacuna").string(), words));
  };
  const ProcessResult first = zsh("lacuna su");
  EXPECT_EQ(first.err, "");
  EXPECT_THAT(lines_of(first.out), Contains(StartsWith("survey:")));
  const ProcessResult options = zsh("lacuna files --sta");
  EXPECT_EQ(options.err, "");
  EXPECT_THAT(lines_of(options.out), Contains(StartsWith("--starts-at[")));
  EXPECT_THAT(lines_of(options.out), Contains(HasSubstr("]:text|json|ndjson|csv:(")));
  EXPECT_THAT(lines_of(options.out), Contains("*:path:_files"));
  // In a terminal of zsh's own, with its completion system: what Tab lists.
  write_file(scratch_ / "terminal", R"(zmodload zsh/zpty
zpty -b z zsh -f -i
zpty -w z 'PS1=; autoload -Uz compinit; compinit -u -D; source ./_lacuna; stty cols 200 rows 100; print REA""DY'
zpty -r z out '*READY*'
out=''
zpty -w -n z $'lacuna files --format \t\t'
for i in {1..200}; do
  sleep 0.05
  while zpty -r -t z more; do out+=$more; done
  [[ $out == *ndjson* ]] && break
done
print -r -- "$out"
zpty -d z
)");
  const ProcessResult listed =
      shell("/usr/bin/zsh", fmt::format("cd '{}'; source ./terminal", scratch_.path().string()));
  EXPECT_THAT(listed.out, HasSubstr("ndjson")) << listed.err;
  EXPECT_THAT(listed.out, Not(HasSubstr("_arguments:"))) << "how zsh complains of a specification";
}

}  // namespace
}  // namespace lacuna::test
