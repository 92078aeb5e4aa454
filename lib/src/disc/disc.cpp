// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/disc.h"

#include <algorithm>
#include <array>

#include "disc/disc_builder.h"

namespace lacuna {

std::string_view to_string(SessionSource source) noexcept {
  constexpr std::array<std::string_view, 5> kWords{"first", "given", "found", "table", "scan"};
  return kWords[static_cast<std::size_t>(source)];
}

std::string_view to_string(StructureKind kind) noexcept {
  constexpr std::array<std::string_view, 15> kWords{
      "volume descriptor",   "path table",    "directory",     "continuation area", "boot catalog",
      "extended attributes", "anchor",        "integrity",     "file set",          "file entry",
      "allocation extent",   "virtual table", "sparing table", "metadata file",     "space map"};
  return kWords[static_cast<std::size_t>(kind)];
}

const Volume* Disc::main_volume() const noexcept {
  for (auto s = sessions_.rbegin(); s != sessions_.rend(); ++s) {
    if (s->in_tree && !s->volumes.empty()) return &s->volumes.front();
  }
  return nullptr;
}

DiscBuilder::DiscBuilder(const Image& image) : disc_(new Disc) { disc_->image_ = &image; }

std::unique_ptr<const Disc> DiscBuilder::finish() {
  const std::vector<NodeId> new_ids = disc_->tree_.finish();
  const auto renumber = [&new_ids](NodeId& id) {
    if (id != kNoNode) id = new_ids[id];
  };
  for (Structure& s : disc_->structures_) renumber(s.node);
  for (LostDirectory& d : disc_->lost_directories_) renumber(d.node);
  std::sort(disc_->structures_.begin(), disc_->structures_.end(), [](const Structure& a, const Structure& b) {
    return a.position != b.position ? a.position < b.position : a.bytes < b.bytes;
  });
  return std::move(disc_);
}

}  // namespace lacuna
