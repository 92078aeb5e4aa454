// SPDX-License-Identifier: GPL-3.0-or-later
// From a descriptor set: its volumes for display, and what its trees hang on.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "disc/disc_builder.h"
#include "iso9660/descriptor_sets.h"
#include "iso9660/remains.h"
#include "iso9660/volume_basis.h"

namespace lacuna::iso9660 {

/// The trees of one session.
struct VolumeTrees {
  std::optional<VolumeBasis> primary, joliet, enhanced;

  /// That of directories which record identifiers so.
  std::optional<VolumeBasis>& of(IdentifierKind kind) { return kind == IdentifierKind::kUcs2 ? joliet : primary; }
};

/// What each descriptor says of its volume; adds the set's structures, and findings on what is wrong with them.
std::vector<Volume> describe_set(DiscBuilder& builder, const DescriptorSet& set, std::int64_t shift_bytes);

/// A descriptor of the same kind that is recorded again is a copy (ECMA-119 6.7.1.1): the first whose root record can
/// be one counts, and one that differs from it is shown.
VolumeTrees choose_trees(const DescriptorSet& set, std::int64_t shift_bytes, Findings& findings);

}  // namespace lacuna::iso9660
