// SPDX-License-Identifier: GPL-3.0-or-later
// Frames: directories say where they stand. Those for which what they say and where they stand differ by the same
// distance count their addresses from one place: that of the disc, of the session or part of a disc that an image
// holds, or of an image that is stored as a file.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <vector>

#include "iso9660/remains.h"
#include "iso9660/volume_basis.h"
#include "lacuna/range_set.h"

namespace lacuna::iso9660 {

/// FrameDirectory::parent of one that does not tell it.
inline constexpr std::uint64_t kUnknownParent = ~std::uint64_t{0};

/// A directory that the scan found, its places as byte addresses on the disc.
struct FrameDirectory {
  std::uint64_t position = 0;
  std::uint64_t parent = 0;  ///< By its PL entry when it was relocated (RRIP 4.1.5.2), else by "..".
  std::uint32_t bytes = 0;
  std::uint32_t parent_bytes = 0;  ///< 0: not recorded.
  std::uint32_t tree = 0;          ///< The same for all that "..", followed up and down, leads to from here.
  IdentifierKind kind = IdentifierKind::kUnknown;  ///< Its own, or that of most others of the same `tree`.
  bool relocated = false;
  bool rock_ridge = false;
  bool dated = false;
  std::int64_t recorded_seconds = 0;

  bool is_root() const noexcept { return position == parent; }
};

/// Directories whose addresses count from the same place.
struct Frame {
  std::uint32_t block_bytes = kSectorBytes;
  std::int64_t shift_bytes = 0;             ///< As VolumeBasis::shift_bytes.
  std::vector<FrameDirectory> directories;  ///< Ascending by position.
  std::uint64_t links = 0;  ///< How many have their parent among the others, or are a root: it proves the shift.

  std::vector<std::uint64_t> parents;  ///< Byte addresses that directories name as their parents', ascending.

  bool names_as_parent(std::uint64_t position) const {
    return std::binary_search(parents.begin(), parents.end(), position);
  }
  /// The directory that starts at this byte address; nothing when none was found there.
  const FrameDirectory* find(std::uint64_t position) const;
};

/// All frames of what the scan found; constant once made, safe for concurrent use.
class Frames {
 public:
  Frames(const Remains& remains, const Image& image);

  const Remains& remains() const noexcept { return *remains_; }
  /// The disc's own: that of shift 0 if it has anything; else that which starts first, because images stored as files
  /// start behind what they are stored in. Nothing: no directory was found, or none that can be trusted to be the
  /// disc's. `head_readable`: the sector of the first volume descriptor can be read, so it is known that there is none.
  const Frame* own(bool head_readable) const;
  const Frame* of_shift(std::int64_t shift_bytes) const;
  /// Byte ranges of the images that are stored as files in a volume of this shift: there directories count their
  /// addresses from a place behind the volume's beginning.
  std::vector<Range> stored_images(std::int64_t shift_bytes) const;

 private:
  const Remains* remains_;
  std::vector<Frame> frames_;
};

}  // namespace lacuna::iso9660
