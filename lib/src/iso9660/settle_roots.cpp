// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/settle_roots.h"

#include <algorithm>
#include <array>

#include "media/stretch.h"

namespace lacuna::iso9660 {
namespace {

constexpr std::uint64_t kMostBytes = std::uint64_t{1} << 20;  // of one directory

/// Whether more name themselves than the roots of a primary and a Joliet tree.
bool too_many(const Frame& frame) {
  std::array<int, 3> roots{};
  for (const FrameDirectory& d : frame.directories) {
    if (d.is_root()) ++roots[static_cast<std::size_t>(d.kind)];
  }
  const auto count = [&roots](IdentifierKind kind) { return roots[static_cast<std::size_t>(kind)]; };
  const int unknown = count(IdentifierKind::kUnknown);
  return count(IdentifierKind::kBytes) + unknown > 1 || count(IdentifierKind::kUcs2) + unknown > 1;
}

/// Calls f with the byte address of each directory that the directory lists.
template <class F>
void for_each_listed(const Stretch& directory, const Frame& frame, F&& f) {
  for (std::uint64_t at = 0; at < directory.bytes.size(); at += kSectorBytes) {
    const Bytes sector = directory.from(at, kSectorBytes);
    for (std::size_t i = 0; i < sector.size() && sector[i] != 0;) {
      const auto r = decode_directory_record(sector.subspan(i));
      if (!r || !r->plausible()) break;
      i += r->length;
      if (!r->is_directory() || r->is_self() || r->is_parent()) continue;
      const std::uint64_t block = std::uint64_t{r->extent.value()} + r->ear_length;
      f(block * frame.block_bytes + static_cast<std::uint64_t>(frame.shift_bytes));
    }
  }
}

template <class T>
bool stands_in(const std::vector<T>& list, std::uint64_t sector) {
  const auto at = std::lower_bound(list.begin(), list.end(), sector,
                                   [](const T& found, std::uint64_t wanted) { return found.position < wanted; });
  return at != list.end() && at->position < sector + kSectorBytes;
}

}  // namespace

void settle_roots(const Image& image, const Remains& remains, Frame& frame) {
  if (!too_many(frame)) return;
  std::uint64_t budget = 2 * (image.end_byte() - image.first_lba() * kSectorBytes);
  std::array<bool, 3> habit{};
  for (const FrameDirectory& d : frame.directories) {
    const std::uint64_t bytes = std::min<std::uint64_t>(d.bytes, kMostBytes);
    if (bytes > budget) break;
    budget -= bytes;
    for_each_listed(read_stretch(image, d.position, bytes), frame, [&](std::uint64_t position) {
      const FrameDirectory* found = frame.find(position);
      if (found == nullptr || found == &d || !found->is_root()) return;
      FrameDirectory& child = frame.directories[static_cast<std::size_t>(found - frame.directories.data())];
      child.parent = d.position;
      habit[static_cast<std::size_t>(d.kind)] = true;
    });
  }
  const auto has_habit = [&habit](const FrameDirectory& d) {
    return habit[static_cast<std::size_t>(d.kind)] || (d.kind == IdentifierKind::kUnknown && (habit[1] || habit[2]));
  };
  std::array<int, 3> unlisted{};
  for (const FrameDirectory& d : frame.directories) {
    if (d.is_root()) ++unlisted[static_cast<std::size_t>(d.kind)];
  }
  const FrameDirectory* before = nullptr;
  for (FrameDirectory& d : frame.directories) {
    const FrameDirectory* last = before;
    before = &d;
    if (!d.is_root() || !has_habit(d) || unlisted[static_cast<std::size_t>(d.kind)] == 1) continue;
    const std::uint64_t sector = d.position / kSectorBytes * kSectorBytes - kSectorBytes;
    const bool of_another_kind = last != nullptr && last->kind != d.kind && last->position + last->bytes == d.position;
    if (!of_another_kind && !stands_in(remains.path_tables(), sector) && !stands_in(remains.descriptors(), sector)) {
      d.parent = kUnknownParent;
    }
  }
}

}  // namespace lacuna::iso9660
