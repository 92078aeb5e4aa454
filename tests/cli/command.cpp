// SPDX-License-Identifier: GPL-3.0-or-later
#include "cli/command.h"

#include <fmt/format.h>

#include <algorithm>

namespace lacuna::test {

ProcessResult lacuna(std::vector<std::string> arguments, const ProcessOptions& options) {
  arguments.insert(arguments.begin(), LACUNA_COMMAND);
  return run_process(arguments, options);
}

std::string prose(const std::string& title, std::size_t bytes) {
  std::string text;
  for (int line = 1; text.size() < bytes; ++line) text += fmt::format("{}, line {}\n", title, line);
  text.resize(bytes);
  return text;
}

void MuseumDisc::SetUpTestSuite() {
  folder_ = new ScratchFolder;
  const std::filesystem::path tree = *folder_ / "tree";
  write_file(tree / "Pictures/Ice in the basin.jpg", prose("Ice in the basin", 9000));
  write_file(tree / "Pictures/Pilot boat.jpg", prose("Pilot boat", 30000));
  write_file(tree / "Letters/1974 roof.txt", prose("Roof repair", 1500));
  write_file(tree / "Letters/1981 anchor.txt", prose("The anchor", 7000));
  write_file(tree / "Programs/slides.exe", "MZ" + prose("no real program", 3000));
  write_file(tree / "Read me.txt", prose("Contents of the disc", 600));
  run_command(folder_->path(), "find tree -exec touch -d '2004-03-09 16:20:00 UTC' {} +");
  const std::vector<std::uint8_t> bytes = genisoimage(tree, "-R -J -V HARBOUR_MUSEUM");
  write_file(*folder_ / "museum.iso", std::string(bytes.begin(), bytes.end()));
}

void MuseumDisc::TearDownTestSuite() {
  delete folder_;
  folder_ = nullptr;
}

std::uint64_t MuseumDisc::lba_of(const std::string& text) {
  const std::vector<std::uint8_t> bytes = read_file(image());
  // Not std::ranges::search: clang++ 14 can't compile libstdc++ 12's subrange.
  const auto at = std::search(bytes.begin(), bytes.end(), text.begin(), text.end());
  EXPECT_NE(at, bytes.end()) << text;
  return static_cast<std::uint64_t>(at - bytes.begin()) / 2048;
}

std::string MuseumDisc::map(const std::string& name, const std::string& content) {
  write_file(folder() / name, content);
  return (folder() / name).string();
}

}  // namespace lacuna::test
