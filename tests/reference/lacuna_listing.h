// SPDX-License-Identifier: GPL-3.0-or-later
// What Lacuna makes of an intact image, in the form of the reference readers, and how two listings differ.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "reference/reference_listing.h"

namespace lacuna::test {

/// Lists one view without the boot entries, which only Lacuna shows. Every file must be whole when all sectors are
/// known to be good: anything else is a failure of the test. Nothing, with the reason in `why`, when the image has no
/// such view.
std::optional<ReferenceListing> list_with_lacuna(const std::filesystem::path& image, View view, std::string& why);

/// One thing that two readers say differently.
struct Difference {
  enum class What { kOnlyOurs, kOnlyTheirs, kKind, kSize, kDate, kContent, kTarget } what;
  std::string path;
  std::string text;  ///< Both values.
};
const char* to_string(Difference::What what);

std::vector<Difference> differences(const ReferenceListing& ours, const ReferenceListing& theirs);

}  // namespace lacuna::test
