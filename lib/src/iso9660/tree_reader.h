// SPDX-License-Identifier: GPL-3.0-or-later
// Reads the directories under one volume descriptor into a tree (ECMA-119 6.8, RRIP 4.1.5).
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "iso9660/adoption.h"
#include "iso9660/volume_basis.h"
#include "lacuna/disc.h"

namespace lacuna::iso9660 {

struct TreeRequest {
  VolumeBasis volume;
  View view = View::kIso9660;  ///< kIso9660, kJoliet or kEnhanced.
  bool susp = true;            ///< Look for Rock Ridge (only with kIso9660).
  std::string names_charset;
  ProgressCallback progress;
  Scope scope;  ///< What a scan found; what it points to outlives the call.
};

struct ReadTree {
  Tree tree;  ///< Not finished.
  bool rock_ridge = false;
  std::vector<Structure> structures;
  std::vector<LostDirectory> lost_directories;
  /// Doubts that vanish where another view agrees on the file.
  std::vector<std::pair<NodeId, std::string>> tentative_doubts;
  Findings findings;
  std::vector<std::uint64_t> directories;  ///< Byte addresses of all that were entered.
};

/// Each directory extent is read once, whatever loops the records form; cost is bounded by the image, whatever lengths
/// they claim. Errors: kUsage for an unknown charset, kCancelled.
Result<ReadTree> read_tree(const Image& image, const TreeRequest& request);

}  // namespace lacuna::iso9660
