// SPDX-License-Identifier: GPL-3.0-or-later
// The reader of ECMA-167 / UDF volumes.
#pragma once

#include <cstdint>
#include <vector>

#include "disc/sessions.h"
#include "udf/remains.h"

namespace lacuna::udf {

/// One part for each session with a UDF volume; and, before it, one for each earlier state of it that its virtual
/// allocation tables (UDF 2.2.11) or older file sets (UDF 2.3.2) still tell. None when the image has no UDF file
/// system. `session_starts`: LBAs of sessions known from elsewhere. The builder, whose structures and findings they add
/// to, the options and the remains must outlive the parts. With remains (finished) what the structures that lead to it
/// don't tell any more is put together from what the sectors hold. Errors: kCancelled.
Result<SessionParts> find_udf(DiscBuilder& builder, const DiscOptions& options,
                              std::vector<std::uint64_t> session_starts, const Remains* remains = nullptr);

}  // namespace lacuna::udf
