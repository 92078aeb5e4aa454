// SPDX-License-Identifier: GPL-3.0-or-later
// Walking over files, and finding one.
#include <algorithm>
#include <string>
#include <string_view>

#include "capi/handles.h"
#include "capi/structs.h"
#include "capi/text.h"

namespace lacuna::capi {
namespace {

constexpr std::uint32_t kAllStates = (1U << kFileStateCount) - 1;

struct Filter {
  GlobSet only;
  std::uint32_t states = kAllStates;
  bool directories = false;

  bool takes(const OpenDisc& open, NodeId id, std::string_view path) const {
    if (open.disc->tree().node(id).is_directory() && !directories) return false;
    if ((states >> static_cast<unsigned>(open.verdicts.of(id).state) & 1) == 0) return false;
    return only.empty() || only.matches(path);
  }
};

Filter filter_from(const lacuna_file_filter& given) {
  check_flags(given.flags, LACUNA_FILTER_DIRECTORIES | LACUNA_FILTER_IGNORE_CASE, "lacuna_file_filter");
  check_flags(given.states, kAllStates, "lacuna_file_filter: states");
  Filter f;
  f.only = globs_from(given.globs, given.glob_count, (given.flags & LACUNA_FILTER_IGNORE_CASE) != 0);
  if (given.states != 0) f.states = given.states;
  f.directories = (given.flags & LACUNA_FILTER_DIRECTORIES) != 0;
  return f;
}

NodeId child_of(const Tree& tree, NodeId parent, std::string_view name) {
  for (NodeId id = tree.node(parent).first_child; id != kNoNode; id = tree.node(id).next_sibling) {
    if (tree.name(tree.node(id)) == name) return id;
  }
  return kNoNode;
}

NodeId node_at(const Tree& tree, std::string_view path) {
  NodeId at = kRoot;
  for (std::size_t begin = 0; at != kNoNode && begin <= path.size();) {
    const std::size_t end = std::min(path.find('/', begin), path.size());
    at = child_of(tree, at, path.substr(begin, end - begin));
    begin = end + 1;
  }
  return at;
}

}  // namespace
}  // namespace lacuna::capi

using namespace lacuna::capi;

struct lacuna_files {
  std::shared_ptr<const OpenDisc> open;
  Filter filter;
  lacuna::NodeId next = lacuna::kRoot + 1;  // ids ascend in the order of listings
};

lacuna_code lacuna_disc_files(const lacuna_disc* disc, const lacuna_file_filter* filter, lacuna_files** files,
                              lacuna_error** error) {
  if (files != nullptr) *files = nullptr;
  return guarded(error, [&] {
    need(disc != nullptr && files != nullptr, "lacuna_disc_files: disc or files is NULL");
    auto walk = std::make_unique<lacuna_files>();
    walk->open = disc->open;
    walk->filter = filter_from(options_from(filter, "lacuna_file_filter"));
    *files = walk.release();
  });
}

lacuna_code lacuna_files_next(lacuna_files* files, lacuna_file** file, lacuna_error** error) {
  if (file != nullptr) *file = nullptr;
  return guarded(error, [&] {
    need(files != nullptr && file != nullptr, "lacuna_files_next: files or file is NULL");
    const lacuna::Tree& tree = files->open->disc->tree();
    for (; files->next < tree.size(); ++files->next) {
      std::string path = tree.path(files->next);
      if (!files->filter.takes(*files->open, files->next, path)) continue;
      *file = make_file(files->open, files->next, std::move(path));
      ++files->next;
      return;
    }
  });
}

void lacuna_files_free(lacuna_files* files) { delete files; }

lacuna_code lacuna_disc_find(const lacuna_disc* disc, lacuna_string path, lacuna_file** file, lacuna_error** error) {
  if (file != nullptr) *file = nullptr;
  return guarded(error, [&] {
    need(disc != nullptr && file != nullptr, "lacuna_disc_find: disc or file is NULL");
    const std::string text = text_from(path, "lacuna_disc_find: path");
    const lacuna::NodeId id = node_at(disc->open->disc->tree(), text);
    if (id == lacuna::kNoNode) throw Failure{LACUNA_NOT_FOUND, "the disc has no '" + text + "'"};
    *file = make_file(disc->open, id, text);
  });
}
