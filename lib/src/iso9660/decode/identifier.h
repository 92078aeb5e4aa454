// SPDX-License-Identifier: GPL-3.0-or-later
// File identifiers (ECMA-119 7.5): NAME '.' EXTENSION ';' VERSION, in 8-bit characters or UCS-2 (Joliet).
// Directory identifiers (7.6) and identifiers under an enhanced descriptor (ISO 9660:1999) have no such parts: there
// '.' and ';' are ordinary characters, and nothing is to be split.
#pragma once

#include <cstdint>

#include "base/bytes.h"

namespace lacuna::iso9660 {

/// Views into the identifier that was given.
struct FileIdentifier {
  Bytes base;                 ///< Without the version and the dot of an empty extension: the name that is meant.
  Bytes name;                 ///< Before the last dot of `base`.
  Bytes extension;            ///< After it; empty when there is none.
  std::uint16_t version = 0;  ///< 1..32767; 0: none recorded.
};

/// "README.;1" is README, version 1. A ';' that is not followed by a number of 1..32767 to the end belongs to the name,
/// and an identifier is never made empty.
FileIdentifier split_identifier(Bytes id) noexcept;

/// The same for big-endian UCS-2 (";1" is 00 3B 00 31). The dot of an empty extension is taken off only before a
/// version: Joliet names without one are recorded as they were on the writer's file system, which may end in a dot. An
/// identifier of an odd number of bytes is damaged and not split.
FileIdentifier split_identifier_ucs2(Bytes id) noexcept;

}  // namespace lacuna::iso9660
