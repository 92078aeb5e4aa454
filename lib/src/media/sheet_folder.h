// SPDX-License-Identifier: GPL-3.0-or-later
// The files that a sheet names, looked up beside it and nowhere else.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "media/byte_store.h"
#include "media/sheet_text.h"

namespace lacuna {

/// A file that a sheet names, or why there is none.
struct SheetFile {
  std::unique_ptr<ByteStore> store;  ///< None: see `why`.
  std::string found_as;              ///< Its name in the folder; the same for two names means the same file.
  std::string why;                   ///< For a finding: "is missing".
};

/// Gives the file of a name as the sheet has it. Tests put files in memory in the place of a folder.
using SheetOpener = std::function<SheetFile(std::string_view name)>;

class SheetFolder {
 public:
  /// The folder that `sheet` lies in.
  SheetFolder(const std::filesystem::path& sheet, SheetCharset charset);

  /// By the last component of `name` alone: the exact name first (in the sheet's own bytes, then as UTF-8), then
  /// without regard to the case of ASCII letters, which several files may then have: none of them is taken. A link in
  /// the folder is followed, since only who owns the folder can have put it there; the sheet, which may come from
  /// anywhere, can name it but not what it points to.
  SheetFile open(std::string_view name);

 private:
  const std::vector<std::string>& names();

  std::filesystem::path folder_;
  SheetCharset charset_;
  std::optional<std::vector<std::string>> names_;  // of the folder, read when first needed
};

}  // namespace lacuna
