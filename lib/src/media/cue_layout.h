// SPDX-License-Identifier: GPL-3.0-or-later
// From what a cue sheet says and the files that there are to a TrackLayout.
#pragma once

#include <string>

#include "media/cue_sheet.h"
#include "media/sheet_folder.h"
#include "media/track_layout.h"

namespace lacuna {

/// See read_cue_sheet(). `name` is for messages. Errors: kBadInput for a file that two names mean; kNotReadable for
/// what no disc can hold.
Result<TrackLayout> place_cue_sheet(const CueSheet& sheet, const std::string& name, const SheetOpener& open,
                                    Findings& findings);

}  // namespace lacuna
