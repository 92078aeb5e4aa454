// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/earlier_volumes.h"

#include "iso9660/lost_views.h"

namespace lacuna::iso9660 {
namespace {

constexpr std::size_t kMostVolumes = 64;

}  // namespace

std::vector<VolumeTrees> find_earlier_volumes(const Image& image, const Frame& frame,
                                              const std::unordered_set<std::uint64_t>& current, const RangeSet& files) {
  const auto is_left = [&](const FrameDirectory& d) {
    return !current.contains(d.position) && !files.contains(d.position);
  };
  std::vector<VolumeTrees> volumes;
  std::unordered_set<std::uint32_t> rooted;  // trees that have a root of their own
  const FrameDirectory* last = nullptr;
  for (const FrameDirectory& d : frame.directories) {
    if (!d.is_root() || !is_left(d) || volumes.size() == kMostVolumes) continue;
    rooted.insert(d.tree);
    // Two views of one volume: their roots have the date of one directory.
    const bool pairs = last != nullptr && last->dated == d.dated && last->recorded_seconds == d.recorded_seconds &&
                       !volumes.back().of(d.kind);
    if (!pairs) volumes.emplace_back();
    volumes.back().of(d.kind) = basis_of_root(image, frame, d);
    last = &d;
  }
  VolumeTrees rootless;
  for (const FrameDirectory& d : frame.directories) {
    if (d.is_root() || !is_left(d) || rooted.contains(d.tree)) continue;
    VolumeBasis volume;
    volume.found = true;
    volume.block_bytes = frame.block_bytes;
    volume.shift_bytes = frame.shift_bytes;
    rootless.of(d.kind) = volume;
  }
  if (rootless.primary || rootless.joliet) volumes.insert(volumes.begin(), rootless);
  return volumes;
}

}  // namespace lacuna::iso9660
