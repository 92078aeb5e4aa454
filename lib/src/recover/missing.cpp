// SPDX-License-Identifier: GPL-3.0-or-later
#include "recover/missing.h"

#include <fmt/format.h>

#include <algorithm>

#include "disc/audio_tracks.h"
#include "disc/claims.h"

namespace lacuna::recover {
namespace {

// What follows a volume is padding, run-out, and between sessions lead-out and lead-in, of which images hold little.
constexpr std::uint64_t kMostBehindVolume = 512;

std::uint64_t end_of_volumes(const Disc& disc) {
  std::uint64_t end = 0;
  for (const Session& session : disc.sessions()) {
    for (const Volume& v : session.volumes) {
      end = std::max({end, v.space_bytes / kSectorBytes, session.start_lba});
    }
  }
  return end;
}

/// Unreadable sectors, and those missing of the volumes, that no file is known to fill.
RangeSet unreadable_elsewhere(const Disc& disc, const RangeSet& files) {
  const std::uint64_t end = std::max(disc.image().end_lba(), end_of_volumes(disc));
  return sectors_of_image(disc.image(), {0, end}, false).minus(files);
}

/// Sectors of the image that are not known to be audio.
RangeSet sectors_without_audio(const Disc& disc) {
  const Range all{disc.image().first_lba(), disc.image().end_lba()};
  return RangeSet::from_unsorted({all}).minus(audio_sectors(disc.image()));
}

}  // namespace

std::string reason_to_scan(const Disc& disc) {
  const bool has_system = std::ranges::any_of(disc.sessions(), [](const Session& s) { return s.in_tree; });
  if (!has_system && !sectors_without_audio(disc).empty()) return "no file system was found";
  if (const std::size_t lost = disc.lost_directories().size(); lost != 0) {
    return lost == 1 ? "1 directory can't be read in full" : fmt::format("{} directories can't be read in full", lost);
  }
  const Tree& tree = disc.tree();
  for (NodeId id = 1; id < tree.size(); ++id) {
    if (tree.node(id).has(node_flag::kUnlocated)) return "it is not known where some files lie";
  }
  const RangeSet unreadable = unreadable_elsewhere(disc, sectors_of_files(tree, true));
  if (!unreadable.empty()) {
    return fmt::format("sectors that can't be read may have held structures: {}, the first at LBA {}",
                       unreadable.total(), unreadable.ranges().front().first);
  }
  // A last session of which nothing is left leaves data behind the end of those before.
  const std::uint64_t end = end_of_volumes(disc);
  if (disc.image().end_lba() > end + kMostBehindVolume) {
    const Range behind{end, disc.image().end_lba()};
    if (const RangeSet rest =
            unclaimed_sectors(disc.image(), tree, disc.structures()).intersected(RangeSet::from_unsorted({behind}));
        rest.total() > kMostBehindVolume) {
      return fmt::format("{} readable sectors behind the last volume are claimed by nothing", rest.total());
    }
  }
  for (const Finding& f : disc.findings().list()) {
    if (f.severity == Severity::kLoss) return fmt::format("{}: {}", f.subject, f.text);
  }
  return {};
}

}  // namespace lacuna::recover
