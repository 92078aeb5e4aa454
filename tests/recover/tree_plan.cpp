// SPDX-License-Identifier: GPL-3.0-or-later
#include "tree_plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <random>
#include <set>

#include "support/tagged_blocks.h"

namespace lacuna::test {
namespace {

constexpr std::uint32_t kReplacing = 50000;  // added to the number of a file that replaces another
constexpr std::uint32_t kAdded = 70000;      // numbers of files that came later

constexpr std::array<std::string_view, 8> kWords = {
    "harbour", "letters of the winter", "pictures, second roll", "summer", "accounts and receipts", "garden",
    "museum",  "the old lighthouse",
};

std::string folder_name(std::uint32_t number) {
  return fmt::format("d{:03} {}", number, kWords[number * 5 % kWords.size()]);
}

std::string file_name(std::uint32_t number, bool latin_only) {
  const std::string_view word = kWords[number * 3 % kWords.size()];
  if (!latin_only && number % 5 == 4) return fmt::format("f{:05} гавань {}.bin", number, word);
  return number % 2 == 0 ? fmt::format("f{:05} {}.bin", number, word)
                         : fmt::format("f{:05} {} as it was, {}.bin", number, word, number);
}

std::uint64_t some_size(std::mt19937& random, std::uint32_t number) {
  std::uint64_t bytes = number % 40 == 7  ? 100000 + random() % 200000
                        : number % 3 == 0 ? 8000 + random() % 40000
                        : number % 3 == 1 ? 2048
                                          : kTagBytes + random() % 6000;
  const std::uint64_t tail = bytes % kTaggedBlockBytes;
  if (tail != 0 && tail < kTagBytes) bytes += kTagBytes;
  return bytes;
}

void list_files(const Folder& folder, const std::vector<std::string>& above, std::vector<TaggedFile>& into) {
  for (const PlannedFile& f : folder.files) {
    TaggedFile file;
    file.number = f.number;
    file.bytes = f.bytes;
    file.path = above;
    file.path.push_back(token_of(f.name));
    into.push_back(std::move(file));
  }
  for (const Folder& sub : folder.folders) {
    std::vector<std::string> path = above;
    path.push_back(token_of(sub.name));
    list_files(sub, path, into);
  }
}

Folder changed_files(const Folder& folder) {
  Folder later;
  later.name = folder.name;
  for (const PlannedFile& f : folder.files) {
    if (f.number % 7 == 3) later.files.push_back({f.number + kReplacing, f.bytes + 4096, f.name});
  }
  for (const Folder& sub : folder.folders) {
    Folder changed = changed_files(sub);
    if (!changed.files.empty() || !changed.folders.empty()) later.folders.push_back(std::move(changed));
  }
  return later;
}

}  // namespace

Folder plan_tree(const PlanOptions& options) {
  std::mt19937 random(options.deep ? 12 : 11);
  const std::uint32_t count = std::max<std::uint32_t>(12, options.files / 10), depth = options.deep ? 12 : 6;
  std::vector<std::uint32_t> parents(count), depths(count);
  for (std::uint32_t k = 0; k < count; ++k) {  // folder k + 1; 0 is the root
    auto parent = static_cast<std::uint32_t>(k < 3 ? 0 : random() % (k + 1));
    if (k >= 3 && k < depth + 2) parent = k;  // a chain down to the bottom
    while (parent != 0 && depths[parent - 1] >= depth) parent = parents[parent - 1];
    parents[k] = parent;
    depths[k] = parent == 0 ? 1 : depths[parent - 1] + 1;
  }
  std::vector<std::vector<PlannedFile>> files(count + 1);
  for (std::uint32_t i = 0; i < options.files; ++i) {
    const std::size_t to = i % 3 == 0 ? 1 : random() % (count + 1);
    const std::uint32_t number = i + options.first_number;
    files[to].push_back({number, some_size(random, i), file_name(number, options.latin_only)});
  }
  std::vector<Folder> folders(count + 1);
  for (std::uint32_t k = count + 1; k-- > 0;) {  // children have higher numbers than parents
    folders[k].name = k == 0 ? "" : folder_name(k + options.first_number / 100);
    folders[k].files = std::move(files[k]);
    std::ranges::reverse(folders[k].folders);
    if (k != 0) folders[parents[k - 1]].folders.push_back(std::move(folders[k]));
  }
  return std::move(folders[0]);
}

std::vector<TaggedFile> list_files(const Folder& root) {
  std::vector<TaggedFile> files;
  list_files(root, {}, files);
  return files;
}

Folder later_tree(const Folder& tree) {
  Folder later = changed_files(tree);
  Folder fresh;
  fresh.name = folder_name(900);
  for (std::uint32_t i = 0; i < 20; ++i) {
    fresh.files.push_back({kAdded + i, 2048 + std::uint64_t{i} * 700, file_name(kAdded + i, true)});
  }
  later.folders.push_back(std::move(fresh));
  return later;
}

void merge(Folder& tree, const Folder& later) {
  for (const PlannedFile& f : later.files) {
    const auto at = std::ranges::find(tree.files, f.name, &PlannedFile::name);
    if (at != tree.files.end()) {
      *at = f;
    } else {
      tree.files.push_back(f);
    }
  }
  for (const Folder& sub : later.folders) {
    auto at = std::ranges::find(tree.folders, sub.name, &Folder::name);
    if (at == tree.folders.end()) {
      tree.folders.push_back({});
      at = tree.folders.end() - 1;
      at->name = sub.name;
    }
    merge(*at, sub);
  }
}

std::vector<TaggedFile> list_files(const Folder& earlier, const Folder& now, std::uint64_t later_lba) {
  std::vector<TaggedFile> files = list_files(now);
  std::set<std::uint32_t> current;
  for (const TaggedFile& f : files) current.insert(f.number);
  for (TaggedFile& f : files) {
    if (f.number >= kReplacing) f.named_from_lba = later_lba;
  }
  for (TaggedFile& f : list_files(earlier)) {
    if (current.contains(f.number)) continue;
    f.superseded = true;
    files.push_back(std::move(f));
  }
  return files;
}

std::string token_of(std::string_view name) {
  const std::size_t digits = name.empty() ? 0 : (name[0] | 32) == 'f' ? 5 : (name[0] | 32) == 'd' ? 3 : 0;
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  if (digits == 0 || name.size() <= digits || !std::ranges::all_of(name.substr(1, digits), is_digit)) {
    return std::string(name);
  }
  std::string token(name.substr(0, digits + 1));
  token[0] = static_cast<char>(token[0] | 32);
  return token;
}

}  // namespace lacuna::test
