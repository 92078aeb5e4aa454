// SPDX-License-Identifier: GPL-3.0-or-later
// Uniting the views of one volume. Supplementary trees are separate directories over the same file extents
// (ECMA-119 8.5), so two views are matched by where their files lie, and by names only where nothing lies anywhere.
#pragma once

#include <vector>

#include "lacuna/finding.h"
#include "lacuna/tree.h"

namespace lacuna {

struct UniteResult {
  std::vector<NodeId> base_ids;  ///< By id in `other`: its node in `base`.
  std::vector<bool> agreed;      ///< By id in `base`: the other view has it at the same place with the same length.
};

/// Brings the nodes of `other` into `base`: one node for what both name, new nodes for what only `other` has. Files
/// of one name and place on which the views disagree (length, extent) get a doubt and stay two nodes where their
/// extents differ. A file that one tree can't locate is the one that the other has under the same name in the same
/// directory, and lies there; a note says so. Directories that `base` could not read in full count as read when `other`
/// read theirs. Deleted nodes are never matched. Orphans are matched by where their files lie, and take the place that
/// the other tree gives them. Linear but for sorting.
UniteResult unite(Tree& base, const Tree& other, Findings& findings);

/// Copies one node of `from`, with its names, extents, details and doubts, under a node of another tree.
NodeId copy_node(Tree& to, NodeId parent, const Tree& from, NodeId id);

/// Gives each node the best view that names it, and evidence `view` to those that `best` does not name; to the others
/// evidence `tree` again, if they had `view` from when another one was the best.
void choose_views(Tree& tree, View best);

}  // namespace lacuna
