// SPDX-License-Identifier: GPL-3.0-or-later
// The drive's part: what of a half-known disc to ask it for, and in which order.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "combine/drive_passes.h"
#include "lacuna/combine.h"

namespace lacuna {

/// A drive, opened.
struct OpenDrive {
  std::uint64_t sectors = 0;
  AskDrive ask;
  CollectLate late;
};
/// A block device, or a file that is to be read like one. Errors: kNotReadable, kCancelled.
Result<OpenDrive> open_drive(const std::filesystem::path& path, double limit_seconds, const ProgressCallback& progress);

/// A drive as an image: for looking at few sectors, in one thread. Once asking gives an Error, it stands in `trouble`
/// and nothing more is asked; all further sectors are bad. `drive` and `trouble` must outlive it.
std::unique_ptr<Image> image_of(const OpenDrive& drive, const std::string& name, std::optional<Error>& trouble);

/// The disc as known: an image over what has been merged and what the drive gave since.
using DiscSoFar = std::function<Result<std::unique_ptr<Image>>()>;

/// Asks for all sectors of [0, drive.sectors) that are not good or repaired in `so_far()`: first those of structures,
/// then, with the names that these brought, in the order of the plan; then the rest, unless only what is wanted counts.
Result<DriveWork> fill_from_drive(const OpenDrive& drive, DriveRead& read, const DiscSoFar& so_far,
                                  const CombineOptions& options);

}  // namespace lacuna
