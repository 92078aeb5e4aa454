// SPDX-License-Identifier: GPL-3.0-or-later
// MemoryImage: an image over bytes in memory, with the damage and the fence that a test asks for.
//
//   MemoryImage disc(bytes);
//   disc.mark(20, 2, SectorState::kBad);   // a map says so
//   disc.fail(40, 1);                      // reading it fails, and no map foretold it
//   disc.allow_only({{16, 19}});           // any read outside these LBAs fails the test
//   auto image = disc.open();
#pragma once

#include <atomic>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "lacuna/image.h"

namespace lacuna::test {

/// What was asked of a source, counted; shared between the builder and all sources that it made.
struct ReadLog {
  std::atomic<std::uint64_t> requests{0};
  std::atomic<std::uint64_t> sectors{0};
};

/// A builder; each call of source() or open() gives an independent object over the same bytes.
class MemoryImage {
 public:
  /// `bytes` need not be whole sectors: the last is then present in part. The first byte is that of `first_lba`.
  explicit MemoryImage(std::vector<std::uint8_t> bytes, std::uint64_t first_lba = 0);

  /// Damage that a map tells of, whatever the state. The image then has a map.
  MemoryImage& mark(std::uint64_t first, std::uint64_t count, SectorState state);
  /// A map that says all is good, so that has_map() is true without any damage.
  MemoryImage& with_map(SectorState default_state = SectorState::kGood);
  /// Sectors whose reading fails (an I/O error), which nobody knows before.
  MemoryImage& fail(std::uint64_t first, std::uint64_t count);
  /// Sectors that lie in a hole of the file.
  MemoryImage& hole(std::uint64_t first, std::uint64_t count);
  /// From now on a read of any other LBA is a failure of the test.
  MemoryImage& allow_only(std::vector<Range> lbas);

  /// Bytes for changing before open().
  std::vector<std::uint8_t>& bytes() noexcept { return bytes_; }
  const ReadLog& log() const noexcept { return *log_; }

  std::unique_ptr<SectorSource> source() const;
  std::unique_ptr<Image> open(std::string name = "image") const;

 private:
  std::vector<std::uint8_t> bytes_;
  std::uint64_t first_lba_;
  std::optional<SectorState> map_default_;
  std::vector<SectorRun> marks_;
  RangeSet failing_;
  RangeSet holes_;
  std::optional<RangeSet> allowed_;
  std::shared_ptr<ReadLog> log_ = std::make_shared<ReadLog>();
};

/// `sectors` sectors, each filled with a pattern that tells its own number, so that a misplaced one is seen.
std::vector<std::uint8_t> numbered_sectors(std::uint64_t sectors, std::uint64_t first_number = 0);
/// The sector of numbered_sectors with this number.
std::vector<std::uint8_t> numbered_sector(std::uint64_t number);

}  // namespace lacuna::test
