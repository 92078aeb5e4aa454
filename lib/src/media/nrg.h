// SPDX-License-Identifier: GPL-3.0-or-later
// The NRG container: sectors first, and behind them chunks that say what they are. As libcdio 2.1 reads it (nrg.c),
// details from memory.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "lacuna/finding.h"
#include "lacuna/result.h"
#include "media/track_layout.h"

namespace lacuna {

/// Where the chunks begin; nothing when the file does not end as such a container does ("NER5", "NERO").
std::optional<std::uint64_t> nrg_chunks_at(const ByteStore& store);

/// Takes the store into the layout. `name` is for messages. Errors: kBadInput for chunks that can't be followed;
/// kNotReadable for what no disc can hold.
Result<TrackLayout> place_nrg(std::unique_ptr<ByteStore> store, const std::string& name, Findings& findings);

}  // namespace lacuna
