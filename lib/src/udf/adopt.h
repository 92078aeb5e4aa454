// SPDX-License-Identifier: GPL-3.0-or-later
// Adoption: what hangs in no directory that could be read gets its place in the tree: by its directory's parent
// identifier, by the identifiers that name its ICB, else under `_orphans/`.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "disc/sessions.h"
#include "udf/decode/file_identifier.h"
#include "udf/entry_reader.h"
#include "udf/remains.h"
#include "udf/space_use.h"

namespace lacuna::udf {

class IcbIndex;

/// What is asked of whoever reads the tree.
class TreeHands {
 public:
  virtual ~TreeHands() = default;

  /// What the tree has reached so far.
  virtual const IcbIndex& icbs() const = 0;
  /// Takes an identifier into a directory as if it had been read there.
  virtual void take(NodeId directory, LbAddr icb, const FileIdentifier& fid, const TagCheck& check) = 0;
  /// Adds what an ICB leads to under a name of the tree's form. Gives the new node.
  virtual NodeId add(NodeId parent, LbAddr parent_icb, const std::string& name, const LongAd& icb,
                     std::uint16_t flags) = 0;
  /// Adds a directory of which nothing is left but that others name it as theirs.
  virtual NodeId add_lost(NodeId parent, const std::string& name, std::optional<LbAddr> icb) = 0;
  /// Reads the directories that were added.
  virtual Result<Done> read_added() = 0;
};

struct AdoptionRequest {
  const Remains* remains = nullptr;
  const SpaceUse* space_use = nullptr;
  std::vector<LbAddr> other_roots;  ///< Of earlier file sets: what hangs on them is not of this tree.
};

/// To be run when all directories that lead anywhere have been read. Nothing is taken that the tree or the free space
/// contradicts: it is of an earlier use, or deleted. Errors: kCancelled.
Result<Done> adopt(ByteReader& reader, const Partitions& partitions, EntryReader& entries,
                   const AdoptionRequest& request, SessionTree& tree, TreeHands& hands);

}  // namespace lacuna::udf
