// SPDX-License-Identifier: GPL-3.0-or-later
// Asking a drive for sectors that are still wanted, so that much comes soon and the disc is spared: in the order given,
// past a place that fails, and back to it later.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "combine/drive_read.h"
#include "lacuna/progress.h"
#include "lacuna/range_set.h"
#include "lacuna/result.h"

namespace lacuna {

/// Reads states.size() sectors at an LBA: each good, bad (an error), or unread (given up after the time limit). An
/// Error ends the work: the drive is gone, or the caller cancelled.
using AskDrive =
    std::function<Result<Done>(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states)>;

/// What a request that was given up has brought since: whole sectors from an LBA on.
struct LateSectors {
  std::uint64_t lba = 0;
  std::vector<std::uint8_t> bytes;
};
using CollectLate = std::function<std::optional<LateSectors>()>;

struct DriveCalls {
  AskDrive ask;
  CollectLate late = {};  ///< May be empty.
};

struct DrivePasses {
  unsigned tries = 3;               ///< Of each sector by itself.
  std::uint64_t unit_sectors = 16;  ///< The drive corrects so many at once: requests keep to their borders.
  ProgressCallback progress;
};

struct DriveWork {
  std::uint64_t requests = 0, sectors = 0;  ///< That this call asked for.
};

/// Three rounds, and then further tries: all in order with requests of several units, leaping ahead by more and more
/// after each failure; back over what was leapt over, from its end; what failed sector by sector; that again, in turn
/// backwards and forwards. What the DriveRead has already is not asked for again. Errors: as `ask` gives them,
/// kCannotWrite, kCancelled; what came before is recorded.
Result<DriveWork> read_from_drive(const DriveCalls& calls, DriveRead& read, std::span<const Range> order,
                                  const DrivePasses& passes);

}  // namespace lacuna
