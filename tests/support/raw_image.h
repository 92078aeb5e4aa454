// SPDX-License-Identifier: GPL-3.0-or-later
// RawImage: an image of whole CD sectors in memory, with the tracks and the damage that a test asks for. Nothing is
// decoded: form, bytes and worth of each sector are what the test says.
//
//   RawImage disc;
//   const std::uint64_t lba = disc.add(audio_sector(1));
//   disc.add_track({.number = 1, .audio = true, .first_lba = lba, .sectors = 1});
//   disc.sector(lba).code = SectorState::kBad;
//   auto image = disc.open();
#pragma once

#include <atomic>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "lacuna/image.h"

namespace lacuna::test {

struct FakeSector {
  SectorForm form = SectorForm::kAudio;  ///< kUnknown: of which the image holds only the user data, or none can tell.
  std::vector<std::uint8_t> bytes;       ///< kRawSectorBytes; empty: only `user` is there.
  std::vector<std::uint8_t> user;        ///< kSectorBytes; empty: it has no user data.
  std::optional<SectorState> code;       ///< What its own code says: good, repaired or bad; nothing: it has none.
  SectorState reading = SectorState::kGood;  ///< kBad: reading it fails. kUnread: it lies in a hole. kAbsent: missing.
};

/// Sectors with contents that differ from each other's and within themselves, and tell `number`.
FakeSector audio_sector(std::uint64_t number);
FakeSector silent_sector();
/// Form 1 or mode 1 around user data of up to kSectorBytes, with a code that agrees. The bytes around are marks only.
FakeSector data_sector(std::span<const std::uint8_t> user, SectorForm form = SectorForm::kForm1);
/// Text of `bytes` bytes of which no sector is filled with a short pattern.
std::string text_content(std::size_t bytes);
/// With a code that agrees, or without one.
FakeSector form2_sector(std::uint64_t number, bool coded = true);

/// A builder; each call of source() or open() gives an independent object over the sectors as they are then.
class RawImage {
 public:
  explicit RawImage(std::uint64_t first_lba = 0) : first_lba_(first_lba) {}

  /// Appends a sector; gives its LBA.
  std::uint64_t add(FakeSector sector);
  /// Appends a plain image's sectors, as data_sector().
  void add_plain(std::span<const std::uint8_t> bytes, SectorForm form = SectorForm::kForm1);
  /// Appends `count` audio sectors that tell first_number, … and a track over them; gives its first LBA.
  std::uint64_t add_audio_track(std::uint32_t number, std::uint64_t count, std::uint64_t first_number = 0);
  void add_track(Track track) { tracks_.push_back(std::move(track)); }

  FakeSector& sector(std::uint64_t lba) { return sectors_[static_cast<std::size_t>(lba - first_lba_)]; }
  std::vector<Track>& tracks() { return tracks_; }
  std::uint64_t end_lba() const { return first_lba_ + sectors_.size(); }

  /// Damage that a map tells of. The image then has a map.
  RawImage& mark(std::uint64_t first, std::uint64_t count, SectorState state);
  RawImage& with_map();
  /// Sectors whose reading fails from the call of fail_now() on, also in images that are open.
  RawImage& fail_later(std::uint64_t first, std::uint64_t count);
  void fail_now() { *failing_ = true; }

  std::unique_ptr<SectorSource> source() const;
  std::unique_ptr<Image> open(std::string name = "disc.bin") const;

 private:
  std::uint64_t first_lba_;
  std::vector<FakeSector> sectors_;
  std::vector<Track> tracks_;
  std::vector<SectorRun> marks_;
  bool mapped_ = false;
  RangeSet later_;
  std::shared_ptr<std::atomic<bool>> failing_ = std::make_shared<std::atomic<bool>>(false);
};

}  // namespace lacuna::test
