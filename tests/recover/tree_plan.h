// SPDX-License-Identifier: GPL-3.0-or-later
// The trees that the discs of the recovery grid hold.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "authored_discs.h"

namespace lacuna::test {

struct PlannedFile {
  std::uint32_t number = 0;
  std::uint64_t bytes = 0;
  std::string name;
};
struct Folder {
  std::string name;
  std::vector<Folder> folders;
  std::vector<PlannedFile> files;
};
struct PlanOptions {
  std::uint32_t files = 300;
  bool latin_only = false;
  bool deep = false;               ///< Down to twelve levels; else to six.
  std::uint32_t first_number = 0;  ///< Of files; folders begin with a hundredth of it.
};

/// A tree with a folder of many files, and the others spread over folders within folders.
Folder plan_tree(const PlanOptions& options);
/// What a second session brings: every seventh file anew, and some that were not there. Folders are those of the tree.
Folder later_tree(const Folder& tree);
/// Makes of a tree what it is after a second session.
void merge(Folder& tree, const Folder& later);

std::vector<TaggedFile> list_files(const Folder& root);
/// Files of both states: those that were replaced are superseded, those that replace are named in the later one only.
std::vector<TaggedFile> list_files(const Folder& earlier, const Folder& now, std::uint64_t later_lba);

}  // namespace lacuna::test
