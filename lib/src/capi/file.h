// SPDX-License-Identifier: GPL-3.0-or-later
// What stands behind the handle of a file.
#pragma once

#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "capi/handles.h"
#include "lacuna/content.h"

struct lacuna_file {
  lacuna_file(std::shared_ptr<const lacuna::capi::OpenDisc> o, lacuna::NodeId id, std::string at)
      : open(std::move(o)), node(id), path(std::move(at)), symlink_target(target_of(open->disc->tree(), node)) {}

  static std::string_view target_of(const lacuna::Tree& tree, lacuna::NodeId id) {
    const lacuna::Node& n = tree.node(id);
    return n.details == 0 ? std::string_view{} : tree.text(tree.details(n).symlink_target);
  }

  const lacuna::Node& of_tree() const { return open->disc->tree().node(node); }
  const lacuna::Verdict& verdict() const { return open->verdicts.of(node); }

  const std::shared_ptr<const lacuna::capi::OpenDisc> open;
  const lacuna::NodeId node;
  const std::string path;
  const std::string symlink_target;  // with the NUL that texts in a tree lack

  // Made when they are first asked for, and then constant.
  mutable std::mutex mutex;
  mutable std::optional<std::vector<lacuna_extent>> extents;
  mutable std::optional<std::vector<lacuna_byte_run>> gaps;
  mutable std::optional<std::vector<std::string>> doubts;
  mutable std::vector<lacuna_string> doubt_texts;
  mutable std::optional<lacuna::FileReader> reader;  // used with the mutex held
};
