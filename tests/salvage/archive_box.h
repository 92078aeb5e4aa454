// SPDX-License-Identifier: GPL-3.0-or-later
// What the tests of bags, arranged folders and files stored once share.
#pragma once

#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "lacuna/pull.h"
#include "pull_box.h"
#include "salvage/disc_manifests.h"

namespace lacuna::test {

/// What an independent reader says of folders, by their names below `in`: "valid", or the first rule that is broken.
inline std::map<std::string, std::string> check_bags(const fs::path& in) {
  static_cast<void>(shell(in, "python3 '" LACUNA_SOURCE "/tests/salvage/check_bag.py' * >../checked 2>&1"));
  std::map<std::string, std::string> out;
  std::ifstream lines(in / "../checked");
  for (std::string line; std::getline(lines, line);) {
    const std::size_t colon = line.find(": ");
    if (colon != std::string::npos) out.emplace(line.substr(0, colon), line.substr(colon + 2));
  }
  return out;
}

/// "valid", or what it lacks.
inline std::string check_bag(const fs::path& bag) {
  static_cast<void>(shell(bag, "python3 '" LACUNA_SOURCE "/tests/salvage/check_bag.py' . >../checked 2>&1"));
  const std::string text = read_text(bag / "../checked");
  fs::remove(bag / "../checked");
  return text == ".: valid\n" ? "valid" : text;
}

/// The path of a disc's manifest in a folder for many.
inline fs::path manifest_of(const fs::path& folder, std::string_view disc) { return folder / disc_manifest_path(disc); }

/// The entries of a manifest by path.
inline std::map<std::string, ManifestEntry> entries_in(const fs::path& manifest) {
  std::map<std::string, ManifestEntry> out;
  std::ifstream in(manifest);
  std::string line, error;
  std::getline(in, line);
  EXPECT_TRUE(parse_header(line, error)) << manifest << error;
  while (std::getline(in, line)) {
    auto e = parse_entry(line, error);
    EXPECT_TRUE(e) << error << ": " << line;
    if (e) out[e->path] = std::move(*e);
  }
  return out;
}

/// "target" of each path.
inline std::map<std::string, std::string> targets_in(const fs::path& manifest) {
  std::map<std::string, std::string> out;
  for (const auto& [path, e] : entries_in(manifest)) out[path] = e.target;
  return out;
}

/// A manifest without its first line, which tells the time.
inline std::string body_of(const fs::path& manifest) {
  const std::string text = read_text(manifest);
  return text.substr(text.find('\n') + 1);
}

/// "kind path" of what verify() finds.
inline std::vector<std::string> problems_in(const fs::path& folder) {
  std::vector<std::string> out;
  const auto report = verify(folder);
  if (!report) return {"error: " + report.error().message};
  for (const VerifyProblem& p : report->problems) out.push_back(std::string(to_string(p.kind)) + " " + p.path);
  return out;
}

/// All regular files below a folder, relative.
inline std::set<std::string> files_in(const fs::path& folder) {
  std::set<std::string> out;
  for (const std::string& path : listing(folder)) {
    if (!path.ends_with('/')) out.insert(path);
  }
  return out;
}

/// A PullBox whose image has a name, so that several are several discs.
struct NamedBox : PullBox {
  explicit NamedBox(std::string name) : name_(std::move(name)) {}
  void open() { PullBox::open(memory().open(name_)); }
  void open(const MemoryImage& memory) { PullBox::open(memory.open(name_)); }
  const std::string& name() const { return name_; }

 private:
  std::string name_;
};

inline Timestamp day(int year, int month, int day_of_month, int hour = 12, int zone_minutes = 0) {
  return *make_timestamp(year, month, day_of_month, hour, 0, 0, 0, zone_minutes);
}

}  // namespace lacuna::test
