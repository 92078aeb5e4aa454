// SPDX-License-Identifier: GPL-3.0-or-later
// Finding UDF volumes: anchors (ECMA-167 3/8.4.2.1, UDF 2.2.3), and the volume descriptors themselves where no anchor
// is left.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/result.h"
#include "media/byte_reader.h"
#include "udf/descriptor_sequence.h"

namespace lacuna::udf {

/// One session's volume structure.
struct FoundVolume {
  std::uint64_t start_lba = 0;  ///< Of the session.
  SessionSource source = SessionSource::kFirst;
  std::uint32_t anchors = 0;  ///< How many lead to it; 0: found without.
  VolumeDescriptors descriptors;
  /// What the recognition sequence says (2/8.3): 2 or 3 for NSR02 or NSR03; 0: not readable or not there.
  int nsr = 0;
};

struct VolumeSearch {
  std::vector<std::uint64_t> session_starts;  ///< Known from elsewhere, LBAs: each is looked at.
  ProgressCallback progress;
};

/// All sessions with a UDF volume, ascending by start. Logical sector sizes of 512 to 4096 bytes are told apart by
/// where descriptors say they stand (3/7.2.8). Discs with a virtual allocation table may hold further sessions, for
/// whose anchors the whole image is looked through. Errors: kCancelled.
Result<std::vector<FoundVolume>> find_volumes(ByteReader& reader, const VolumeSearch& search, Findings& findings);

}  // namespace lacuna::udf
