// SPDX-License-Identifier: GPL-3.0-or-later
// What a drive gave so far, kept in two files so that nothing is lost when the work is stopped, however it is stopped:
// a plain image with holes, and its sector map, to which each outcome is appended once the bytes are on the disk.
#pragma once

#include <chrono>
#include <cstdint>
#include <map>
#include <memory>
#include <string>

#include "base/bytes.h"
#include "lacuna/image.h"
#include "lacuna/range_set.h"
#include "lacuna/result.h"
#include "salvage/output_folder.h"

namespace lacuna {

/// For one thread.
class DriveRead {
 public:
  static std::string name_beside(const std::string& name) { return name + ".drive-read"; }
  /// Opens NAME.drive-read and NAME.drive-read.map in the folder, or makes them, for a drive of `sectors`. A last line
  /// of the map that was not written to its end is cut off. Errors: kCannotWrite; kBadInput (the map is no map, or the
  /// files are not of a disc of this size).
  static Result<DriveRead> open(Directory folder, const std::string& name, std::uint64_t sectors);

  /// Sectors that the drive gave.
  const RangeSet& good() const noexcept { return good_; }
  /// How often a sector alone was asked for in vain.
  unsigned tries(std::uint64_t lba) const noexcept {
    const auto at = tries_.find(lba);
    return at == tries_.end() ? 0 : at->second;
  }
  /// True when an earlier run left something.
  bool resumed() const noexcept { return resumed_; }

  /// Records what came of a request. 0 or an errno.
  int record_good(std::uint64_t lba, Bytes bytes);
  int record_failed(std::uint64_t lba);
  /// Brings all to the disk; done by itself about every second.
  int flush();

  /// The files as a read of the disc, as they are now.
  Result<std::unique_ptr<Image>> image();
  /// Removes the files, when all is done.
  int remove();

 private:
  int append(std::uint64_t first, std::uint64_t count, SectorState state);
  Result<Done> load(const std::string& shown_name);

  Directory folder_;
  std::string name_, map_name_;
  Fd bytes_, map_;
  std::uint64_t sectors_ = 0;
  RangeSet good_;
  std::map<std::uint64_t, unsigned> tries_;
  bool resumed_ = false;
  std::string lines_;  // not yet in the map
  std::chrono::steady_clock::time_point flushed_ = std::chrono::steady_clock::now();
};

}  // namespace lacuna
