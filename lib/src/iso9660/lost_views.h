// SPDX-License-Identifier: GPL-3.0-or-later
// Views whose descriptor is lost, known by their root directory, by path tables, or by directories alone.
#pragma once

#include <vector>

#include "iso9660/descriptor_sets.h"
#include "iso9660/frames.h"
#include "iso9660/volume_trees.h"

namespace lacuna::iso9660 {

/// A session none of whose descriptors is left.
struct LostSession {
  std::uint64_t start_lba = 0;  ///< 0 for the first of a disc, else where its root lies.
  VolumeTrees trees;
};

/// Completes `trees`, which are those of `sets`, by the views that the sets have lost; gives sessions that have lost
/// all. A root directory counts as one of a session when the session lacks a view of its kind and may have lost
/// descriptors, or as a session's of its own when it lies behind all volumes known and is not older. What does not
/// count is an earlier volume's (see earlier_volumes.h). `frame`: the disc's own; may be none.
std::vector<LostSession> find_lost_views(const Image& image, const Frames& frames, const Frame* frame,
                                         const std::vector<DescriptorSet>& sets, std::vector<VolumeTrees>& trees,
                                         Findings& findings);

/// A view that begins with this root directory.
VolumeBasis basis_of_root(const Image& image, const Frame& frame, const FrameDirectory& root);

}  // namespace lacuna::iso9660
