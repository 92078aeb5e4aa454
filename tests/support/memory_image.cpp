// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/memory_image.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <utility>

namespace lacuna::test {
namespace {

class MemorySource final : public SectorSource {
 public:
  struct Setup {
    std::vector<std::uint8_t> bytes;
    std::uint64_t first_lba = 0;
    RangeSet failing;
    RangeSet holes;
    std::optional<RangeSet> allowed;
    std::shared_ptr<ReadLog> log;
  };

  explicit MemorySource(Setup setup) : setup_(std::move(setup)) {}

  std::uint64_t first_lba() const noexcept override { return setup_.first_lba; }
  std::uint64_t end_lba() const noexcept override {
    return setup_.first_lba + (setup_.bytes.size() + kSectorBytes - 1) / kSectorBytes;
  }
  std::uint32_t last_sector_bytes() const noexcept override {
    const auto rest = static_cast<std::uint32_t>(setup_.bytes.size() % kSectorBytes);
    return rest == 0 ? kSectorBytes : rest;
  }
  const RangeSet& holes() const noexcept override { return setup_.holes; }

  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    EXPECT_EQ(out.size(), states.size() * kSectorBytes) << "read() of " << lba << " with spans that don't fit";
    const std::size_t count = std::min(states.size(), out.size() / kSectorBytes);
    ++setup_.log->requests;
    setup_.log->sectors += count;
    for (std::size_t i = 0; i < count; ++i) {
      if (setup_.allowed && !setup_.allowed->contains(lba + i)) {
        ADD_FAILURE() << "sector " << lba + i << " was read, which this test does not allow";
      }
      states[i] = read_sector(lba + i, out.subspan(i * kSectorBytes, kSectorBytes));
    }
  }

 private:
  SectorState read_sector(std::uint64_t lba, std::span<std::uint8_t> to) const {
    std::ranges::fill(to, std::uint8_t{0});
    if (lba < first_lba() || lba >= end_lba()) return SectorState::kAbsent;
    if (setup_.failing.contains(lba)) return SectorState::kBad;
    if (setup_.holes.contains(lba)) return SectorState::kUnread;
    const std::size_t at = static_cast<std::size_t>(lba - setup_.first_lba) * kSectorBytes;
    const std::size_t n = std::min<std::size_t>(kSectorBytes, setup_.bytes.size() - at);
    std::copy_n(setup_.bytes.begin() + static_cast<std::ptrdiff_t>(at), n, to.begin());
    return SectorState::kGood;
  }

  Setup setup_;
};

}  // namespace

MemoryImage::MemoryImage(std::vector<std::uint8_t> bytes, std::uint64_t first_lba)
    : bytes_(std::move(bytes)), first_lba_(first_lba) {}

MemoryImage& MemoryImage::mark(std::uint64_t first, std::uint64_t count, SectorState state) {
  marks_.push_back({first, count, state});
  if (!map_default_) map_default_ = SectorState::kGood;
  return *this;
}

MemoryImage& MemoryImage::with_map(SectorState default_state) {
  map_default_ = default_state;
  return *this;
}

MemoryImage& MemoryImage::fail(std::uint64_t first, std::uint64_t count) {
  failing_.add({first, first + count});
  return *this;
}

MemoryImage& MemoryImage::hole(std::uint64_t first, std::uint64_t count) {
  holes_.add({first, first + count});
  return *this;
}

MemoryImage& MemoryImage::allow_only(std::vector<Range> lbas) {
  allowed_ = RangeSet::from_unsorted(std::move(lbas));
  return *this;
}

std::unique_ptr<SectorSource> MemoryImage::source() const {
  return std::make_unique<MemorySource>(MemorySource::Setup{bytes_, first_lba_, failing_, holes_, allowed_, log_});
}

std::unique_ptr<Image> MemoryImage::open(std::string name) const {
  std::vector<SectorMap> maps;
  if (map_default_) maps.push_back(SectorMap::from_runs(marks_, *map_default_));
  return Image::from_source(source(), std::move(maps), std::move(name));
}

std::vector<std::uint8_t> numbered_sector(std::uint64_t number) {
  std::vector<std::uint8_t> sector(kSectorBytes);
  for (std::size_t i = 0; i < kSectorBytes; ++i) {
    // The number in each 8 bytes, and the place within the sector mixed in so that no two words are alike.
    sector[i] = static_cast<std::uint8_t>((number >> (i % 8 * 8)) + i / 8);
  }
  return sector;
}

std::vector<std::uint8_t> numbered_sectors(std::uint64_t sectors, std::uint64_t first_number) {
  std::vector<std::uint8_t> all;
  all.reserve(static_cast<std::size_t>(sectors) * kSectorBytes);
  for (std::uint64_t i = 0; i < sectors; ++i) {
    const std::vector<std::uint8_t> one = numbered_sector(first_number + i);
    all.insert(all.end(), one.begin(), one.end());
  }
  return all;
}

}  // namespace lacuna::test
