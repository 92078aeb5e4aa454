// SPDX-License-Identifier: GPL-3.0-or-later
// Discs of every kind, their files made of tagged blocks and their names of tokens that can be found by looking at
// bytes: "f00012 the harbour.bin" in the folder "d003 letters" is F00012_T.BIN in D003_LET where names are short.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "support/udf_builder.h"

namespace lacuna::test {

/// A file that was put on a disc.
struct TaggedFile {
  std::uint32_t number = 0;          ///< In the tags of its blocks.
  std::uint64_t bytes = 0;           ///< At least one, so that its place can be seen.
  std::vector<std::string> path;     ///< Tokens of its folders and of itself: "d003", "d017", "f00012".
  bool superseded = false;           ///< A later session, or generation, has another file under this path.
  std::uint64_t named_from_lba = 0;  ///< Names before this LBA are those of the file that it supersedes.

  const std::string& token() const { return path.back(); }
};

struct AuthoredDisc {
  std::string name;
  std::vector<std::uint8_t> bytes;  ///< From LBA 0.
  std::vector<TaggedFile> files;
  /// What the byte-by-byte builder says of the UDF volume that it built: where its structures are.
  std::vector<UdfStructure> udf_structures;
  /// Partition start of a UDF volume that an authoring tool wrote, where it is known beforehand.
  std::optional<std::uint32_t> partition_lba;
  std::uint64_t last_session_lba = 0;

  std::uint64_t sectors() const { return bytes.size() / 2048; }
};

/// The kinds of discs, in the order of the table.
const std::vector<std::string>& disc_kinds();
/// A disc with about so many files; the same each time. Nothing, and `why_not`, when a tool is missing.
std::optional<AuthoredDisc> author_disc(std::string_view kind, std::uint32_t files, std::string& why_not);

/// The token at the beginning of a name, in lower case; the name itself when there is none.
std::string token_of(std::string_view name);

}  // namespace lacuna::test
