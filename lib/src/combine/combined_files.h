// SPDX-License-Identifier: GPL-3.0-or-later
// The files that combining writes: the image, its map, the record of the reads, and a cue sheet where there are tracks.
#pragma once

#include <filesystem>
#include <span>
#include <string>

#include "combine/merge.h"
#include "lacuna/combine.h"
#include "salvage/output_folder.h"

namespace lacuna {

class CombinedFiles {
 public:
  /// Begins the image; none of the names may be taken. A run that was killed after it had named the map may be gone on
  /// with, where it saved what a drive gave: then only the image's name must be free. Errors: kCannotWrite.
  static Result<CombinedFiles> open(const std::filesystem::path& to);

  const Directory& folder() const noexcept { return folder_; }
  const std::string& name() const noexcept { return name_; }
  std::filesystem::path path() const { return parent_ / name_; }
  PartFile& image() noexcept { return image_; }

  /// Gives all their names, the image last: one that is there is complete. A file that is there with the same bytes is
  /// left; with others it is an error. An empty cue sheet is not written.
  Result<Done> publish(const SectorMap& map, const std::string& cue, const CombineReport& report,
                       std::span<const DiscRead> reads, const SettledRuns& runs);

 private:
  std::string map_name() const { return name_ + ".map"; }
  std::string record_name() const { return name_ + ".reads.jsonl"; }
  std::string cue_name() const { return name_ + ".cue"; }
  template <class Write>
  Result<Done> write_beside(const std::string& name, Write&& write);

  std::filesystem::path parent_;
  std::string name_;
  Directory folder_;
  PartFile image_;
};

}  // namespace lacuna
