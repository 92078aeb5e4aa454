// SPDX-License-Identifier: GPL-3.0-or-later
// Volume descriptor sets (ECMA-119 6.7.1): where they stand, and their sectors.
#pragma once

#include <cstdint>
#include <vector>

#include "iso9660/decode/volume_descriptor.h"
#include "iso9660/frames.h"
#include "iso9660/volume_basis.h"
#include "lacuna/disc.h"

namespace lacuna::iso9660 {

/// A set starts at this sector of its session (ECMA-119 6.2.1: the System Area lies before it).
inline constexpr std::uint64_t kSystemAreaSectors = 16;

struct FoundDescriptor {
  std::uint64_t lba = 0;
  DescriptorHeader header;
  SectorState state = SectorState::kGood;
  std::vector<std::uint8_t> sector;
};

struct DescriptorSet {
  std::uint64_t start_lba = 0;  ///< Of the session.
  SessionSource source = SessionSource::kFirst;
  std::vector<FoundDescriptor> descriptors;  ///< In order; those that could not be read are left out.
  bool incomplete = false;                   ///< Some could not be read: views may be missing.
};

struct SetSearch {
  std::vector<std::uint64_t> given_starts;  ///< When not empty, only these are looked at.
  bool everywhere = false;                  ///< Look at every sector, not only behind the volumes known.
  ProgressCallback progress;
  /// What a scan found: nothing is searched then, and a descriptor whose root is lost counts if directories or a path
  /// table confirm where that was.
  const Frames* frames = nullptr;
  const Frame* frame = nullptr;  ///< The disc's own, if any of its directories was found.
};

/// All sets of an image, ascending. The first session's is looked for where it belongs; further ones within
/// kSearchAheadSectors behind the end of the volume before. What is found by searching counts only when the root
/// directory that it names stands where it says: an image stored as a file on the disc has descriptors too.
/// Errors: kCancelled.
Result<std::vector<DescriptorSet>> find_descriptor_sets(const Image& image, const SetSearch& search,
                                                        Findings& findings);

/// Lead-out, lead-in and border zones between sessions are shorter than this (256 MiB).
inline constexpr std::uint64_t kSearchAheadSectors = 131072;

/// Where a volume's root directory lies; byte address on the disc, 0: nowhere.
std::uint64_t root_position(const VolumeBasis& volume);
/// End of the volumes of a set, LBA; behind its descriptors at least.
std::uint64_t space_end_lba(const DescriptorSet& set);

}  // namespace lacuna::iso9660
