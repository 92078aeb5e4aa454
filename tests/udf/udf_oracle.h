// SPDX-License-Identifier: GPL-3.0-or-later
// What damage costs, from what the builder says of its volume alone: which structures lead to a file, where its bytes
// lie. Nothing here parses anything.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "udf_box.h"

namespace lacuna::test {

/// What was done to a volume's image.
struct UdfDamage {
  explicit UdfDamage(const UdfImage& image)
      : first_lba(image.first_byte / kSectorBytes),
        states((image.bytes.size() + kSectorBytes - 1) / kSectorBytes, SectorState::kGood) {}

  std::uint64_t first_lba;
  std::vector<SectorState> states;  ///< Of the built image's sectors. Overwritten without a map: kSuspect.
  bool mapped = true;               ///< A map, or reading, tells of it. Else the bytes are others and nobody says so.
  bool data_unknown = false;        ///< Data was overwritten with what nothing can tell from data.
  const UdfStructure* broken = nullptr;  ///< Fails its CRC; all else is good.

  SectorState at(std::uint64_t lba) const {
    return lba < first_lba || lba - first_lba >= states.size() ? SectorState::kAbsent : states[lba - first_lba];
  }
  void set(std::uint64_t lba, SectorState s) {
    if (lba >= first_lba && lba - first_lba < states.size()) states[lba - first_lba] = s;
  }
  void set(const UdfStructure& s, SectorState state) {
    for (std::uint64_t lba = s.address / kSectorBytes; lba * kSectorBytes < s.address + s.bytes; ++lba) set(lba, state);
  }
  bool good(std::uint64_t address, std::uint64_t bytes) const {
    for (std::uint64_t lba = address / kSectorBytes; lba * kSectorBytes < address + bytes; ++lba) {
      if (at(lba) != SectorState::kGood) return false;
    }
    return true;
  }
};

struct UdfTally {
  int discs = 0, unopened = 0, unlisted = 0, from_earlier = 0;
  std::map<FileState, int> states;
};

class UdfOracle {
 public:
  UdfOracle(const UdfVariant& variant, const UdfImage& image);

  /// Holds all that was read of the damaged volume (named streams too) against what must be, and what must not be.
  void check(const UdfDamage& damage, const UdfBox& box, UdfTally& tally) const;
  /// A path whose entry is another's: its.
  const std::string& owner(const std::string& path) const;
  bool is_chained(const std::string& path) const;

 private:
  struct Judgement;  ///< One damage.
  struct Pieces {
    std::vector<UdfStructure> copy[2];
  };
  using Key = std::pair<std::string, std::string>;  ///< Kind and path.
  using Generation = std::map<Key, Pieces>;

  const Pieces& pieces(std::size_t generation, const std::string& kind, const std::string& path) const;

  const UdfVariant& variant_;
  const UdfImage& image_;
  std::vector<Generation> generations_;  ///< By version.
  std::map<std::string, const UdfNode*> nodes_;
};

}  // namespace lacuna::test
