// SPDX-License-Identifier: GPL-3.0-or-later
// CallerSource: sectors that a callback gives.
#pragma once

#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "lacuna/c/image.h"
#include "lacuna/image.h"

namespace lacuna::capi {

/// Believes nothing that the callback gives: what it does not set is bad, and what it sets out of range too. A call
/// that fails throws CallbackFailure, so that nothing is concluded from it.
class CallerSource final : public SectorSource {
 public:
  /// `source` was checked.
  explicit CallerSource(const lacuna_source& source) : source_(source) {}
  ~CallerSource() override;
  CallerSource(const CallerSource&) = delete;
  CallerSource& operator=(const CallerSource&) = delete;

  /// From now on it is released when it is destroyed.
  void own() noexcept { owned_ = true; }

  std::uint64_t first_lba() const noexcept override { return source_.first_lba; }
  std::uint64_t end_lba() const noexcept override { return source_.end_lba; }
  std::uint32_t last_sector_bytes() const noexcept override {
    return source_.last_sector_bytes == 0 ? kSectorBytes : source_.last_sector_bytes;
  }
  const RangeSet& holes() const noexcept override { return no_holes_; }
  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override;

 private:
  void read_inside(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const;

  lacuna_source source_;
  bool owned_ = false;
  RangeSet no_holes_;
  mutable std::mutex mutex_;  // of sources that take one call at a time
};

/// The caller's source and what it says is known ahead, checked.
struct CheckedSource {
  std::unique_ptr<CallerSource> source;
  std::vector<SectorMap> maps;
  std::string name;
};
CheckedSource source_from(const lacuna_source* given);

}  // namespace lacuna::capi
