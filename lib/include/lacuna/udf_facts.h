// SPDX-License-Identifier: GPL-3.0-or-later
// UdfFacts: what only UDF volumes tell of themselves.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/export.h"
#include "lacuna/timestamp.h"

namespace lacuna {

/// What an ECMA-167 / UDF volume says of itself beyond Volume.
struct LACUNA_API UdfFacts {
  /// One partition map of the logical volume (ECMA-167 3/10.7), by partition reference number.
  struct Map {
    std::string kind;             ///< "physical", "virtual", "sparable", "metadata", or "unknown".
    std::uint16_t number = 0;     ///< Of the partition that it lies on.
    std::uint64_t start_lba = 0;  ///< Of that partition.
    std::uint64_t bytes = 0;      ///< Of that partition.
    std::string state;            ///< What is known of its tables, in words; empty when there are none.
  };
  std::uint16_t revision = 0;  ///< In BCD, 0x0250 is 2.50; 0: not recorded.
  std::string medium;          ///< What it was written for, guessed: "write-once, in packets", …
  std::string medium_why;      ///< What the guess rests on.
  std::vector<Map> maps;
  std::optional<std::uint32_t>
      table_generation;        ///< How many virtual allocation tables lead to this one, itself included.
  std::optional<bool> closed;  ///< The last integrity descriptor: closed, or open (ECMA-167 3/10.10).
  Timestamp integrity_recorded;
  std::optional<std::uint64_t> free_bytes;          ///< As the integrity descriptor or the space bitmap says.
  std::optional<std::uint32_t> files, directories;  ///< As recorded, not as found.
  std::uint64_t named_streams = 0;                  ///< Found in the tree, listed or not.
  std::uint64_t deleted_names = 0;                  ///< The same of names marked as deleted.
  std::string writer;                               ///< The implementation that wrote the logical volume.
};

}  // namespace lacuna
