// SPDX-License-Identifier: GPL-3.0-or-later
// What the directories of a session have lost, from those of an earlier one.
#pragma once

#include <cstdint>

#include "disc/sessions.h"

namespace lacuna {

/// Adds to the directories of `base` that could not be read in full what the directories of the same paths held in an
/// earlier session, with evidence `session`. What base names is never touched, whatever the earlier one says of it: it
/// may be a newer version. Linear in both trees.
void supplement(SessionTree& base, const SessionTree& earlier, std::uint32_t earlier_session);

}  // namespace lacuna
