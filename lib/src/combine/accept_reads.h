// SPDX-License-Identifier: GPL-3.0-or-later
// Which reads are of the disc, and where they have to be moved to.
#pragma once

#include <memory>
#include <span>
#include <vector>

#include "combine/merge.h"
#include "lacuna/combine.h"

namespace lacuna {

struct AcceptedReads {
  std::vector<const Image*> images;           ///< Those of image reads, in order, in their places.
  std::vector<std::unique_ptr<Image>> moved;  ///< Owns those that had to be.
  std::vector<Agreement> agreements;          ///< With the read before that it has most in common with.
};

/// Image reads, each held against those before it. Errors: kUsage for one of another disc, with the numbers, unless
/// `force`; kCancelled.
Result<AcceptedReads> accept_reads(std::span<const DiscRead> reads, bool force, const ProgressCallback& progress);

/// The refusal, for a read that is not of the same disc as `known`.
Error stranger(const std::string& name, const std::string& known, const Agreement& agreement);

}  // namespace lacuna
