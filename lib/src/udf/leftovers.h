// SPDX-License-Identifier: GPL-3.0-or-later
// Leftovers: what of a volume no directory of its tree leads to. Identifiers outside of all known directories are cut
// into fragments, pieces of one directory's content each. Whose content a fragment is shows in the entry that claims
// its blocks; else in the directories that it names, because their own content names their parent.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "disc/sessions.h"
#include "udf/adopt.h"

namespace lacuna::udf {

using IcbKey = std::uint64_t;
inline IcbKey key_of(LbAddr a) noexcept { return std::uint64_t{a.partition} << 32 | a.block; }

/// Identifiers that stand together.
struct Fragment {
  std::size_t first = 0, end = 0;  ///< Of Leftovers::fid().
  std::uint64_t position = 0, bytes = 0;
  std::optional<LbAddr> parent;  ///< It begins with a parent identifier.
  std::optional<LbAddr> owner;   ///< The directory whose content it is.
  std::string doubt;             ///< About the owner.
  std::size_t directories = 0;   ///< How many it names.
  bool done = false;
};

/// A directory's entry that nothing leads to.
struct OrphanDirectory {
  LbAddr address;
  std::uint64_t position = 0;
  std::optional<LbAddr> parent;
  bool streams = false;  ///< A stream directory: never listed.
  bool deleted = false;  ///< Its entry counts no name that leads to it (4/14.9.6).
  bool done = false;
};

class Leftovers {
 public:
  Leftovers(ByteReader& reader, const Partitions& partitions, EntryReader& entries, const AdoptionRequest& request,
            const SessionTree& tree, const IcbIndex& icbs);

  const IdentifierRemnant& fid(std::size_t piece) const { return remains_.identifiers()[pieces_[piece].index]; }
  std::vector<Fragment>& fragments() noexcept { return fragments_; }
  std::vector<OrphanDirectory>& orphans() noexcept { return orphans_; }
  /// Whether there is an orphan's entry at an address.
  bool has_orphan(LbAddr icb) const { return by_address_.contains(key_of(icb)); }
  static bool names_directory(const IdentifierRemnant& f);
  /// Whether only what is deleted leads to it.
  bool is_gone(LbAddr icb) const;
  /// The name that some identifier gives to an ICB; empty when none is left.
  std::string name_of(LbAddr icb) const;
  /// Structures that the free space, or an entry, speaks against.
  std::uint64_t left_out() const noexcept { return left_out_; }

 private:
  struct Piece {
    std::uint64_t position = 0;  // in the copy that content is read from
    std::size_t index = 0;
  };
  struct Claim {
    std::uint64_t first = 0, end = 0;  // bytes of the disc
    std::size_t orphan = 0;
  };

  std::uint64_t canonical(std::uint64_t position, LbAddr address) const;
  std::optional<std::size_t> piece_at(std::uint64_t position) const;
  std::optional<std::size_t> claimant(std::uint64_t position) const;
  void index_identifiers();
  void index_orphans(EntryReader& entries);
  void drop_contradicted();
  void close_deleted(const std::vector<LbAddr>& other_roots);
  void drop_older_states();
  void cut_fragments(const SessionTree& tree);
  void find_owners();

  ByteReader& reader_;
  const Partitions& partitions_;
  const Remains& remains_;
  const SpaceUse& space_use_;
  const IcbIndex& icbs_;

  std::vector<Piece> pieces_;                          // ascending by position
  std::vector<std::pair<IcbKey, std::size_t>> names_;  // ICB, piece; sorted
  std::vector<OrphanDirectory> orphans_;
  std::map<IcbKey, std::size_t> by_address_;  // of the orphans
  std::vector<Claim> claims_;                 // ascending
  std::map<IcbKey, LbAddr> parent_of_;
  std::vector<Fragment> fragments_;
  std::vector<bool> contradicted_;  // by piece
  std::set<IcbKey> deleted_;
  std::uint64_t left_out_ = 0;
};

}  // namespace lacuna::udf
