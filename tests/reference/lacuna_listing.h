// SPDX-License-Identifier: GPL-3.0-or-later
// What Lacuna makes of an intact image, in the form of the reference readers, and how two listings differ.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/disc.h"
#include "reference/reference_listing.h"

namespace lacuna::test {

/// A disc of which all sectors are known to be good, holes of the file too.
struct IntactDisc {
  std::unique_ptr<Image> image;
  std::unique_ptr<const Disc> disc;
};
/// Nothing, with the reason in `why`, when the image has no such view. Without a view: all of them united.
std::optional<IntactDisc> open_intact(const std::filesystem::path& image, std::optional<View> view, std::string& why);

/// Lists a disc without the boot entries, which only Lacuna shows. Every file must be whole when all sectors are
/// known to be good: anything else is a failure of the test.
ReferenceListing list_with_lacuna(const Disc& disc);
/// The same of one view; nothing, with the reason in `why`, when the image has no such view.
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
