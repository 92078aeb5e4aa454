// SPDX-License-Identifier: GPL-3.0-or-later
// CD-Text packs, as a disc's lead-in and containers hold them.
#pragma once

#include <array>
#include <string>

#include "base/bytes.h"

namespace lacuna {

struct CdText {
  std::array<std::string, 100> title, performer;  ///< By track, UTF-8; 0: of the disc.
};

/// Reads packs of 18 bytes: titles and performers of the first language, in ISO 8859-1. Packs whose code does not agree
/// are passed over, and what they were a part of stays empty.
CdText read_cd_text(Bytes packs);

}  // namespace lacuna
