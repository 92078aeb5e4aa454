// SPDX-License-Identifier: GPL-3.0-or-later
// The names in a stream directory (ECMA-167 4/9.2, UDF 3.3.5).
#pragma once

#include <cstdint>
#include <vector>

#include "udf/entry_reader.h"

namespace lacuna::udf {

struct StreamNames {
  std::vector<std::vector<std::uint8_t>> identifiers;  ///< Each for decode_fid(); proven, neither parents nor deleted.
  bool damaged = false;                                ///< Some may be missing.
};

/// `budget_bytes` is what may still be read, and is lowered by what was.
StreamNames read_stream_names(EntryReader& entries, const Partitions& partitions, const Entry& directory,
                              std::uint64_t& budget_bytes);

}  // namespace lacuna::udf
