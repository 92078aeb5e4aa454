// SPDX-License-Identifier: GPL-3.0-or-later
// IMAGE[,map=FILE]...: an image among several on one command line, with what belongs to it alone.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "lacuna/image.h"
#include "options.h"
#include "progress.h"

namespace lacuna::tool {

/// What follows the image's path, each behind a comma: map=FILE (again for more), part=FILE (again for more),
/// starts-at=LBA, drive=yes|no.
struct ImageArgument {
  std::string path;
  std::vector<std::string> parts, maps;
  std::uint64_t starts_at = 0;
  bool drive = false;  ///< drive=yes, or a block device: to be read no more than is needed.

  /// A text that names an existing file is a path whatever commas are in it. Throws Failure for an unknown word and for
  /// a value that makes no sense.
  static ImageArgument parse(const std::string& text);
  /// Opens it; what there is to say of it goes to standard error. Throws Failure.
  std::unique_ptr<Image> open(const CommonArguments& common, ProgressLine& line) const;
};

}  // namespace lacuna::tool
