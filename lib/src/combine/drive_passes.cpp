// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/drive_passes.h"

#include <algorithm>
#include <utility>

namespace lacuna {
namespace {

constexpr std::uint64_t kMostRequestSectors = 64;
constexpr std::uint64_t kFarthestLeapSectors = 4096;

class Passes {
 public:
  Passes(const DriveCalls& calls, DriveRead& read, std::span<const Range> order, const DrivePasses& options)
      : calls_(calls), read_(read), order_(order), options_(options) {
    const std::uint64_t unit = std::max<std::uint64_t>(1, options.unit_sectors);
    request_sectors_ = std::max(unit, kMostRequestSectors / unit * unit);
    buffer_.resize(static_cast<std::size_t>(request_sectors_ * kSectorBytes));
    states_.resize(static_cast<std::size_t>(request_sectors_));
    for (const Range& r : order) wanted_sectors_ += r.length();
  }

  Result<DriveWork> run() {
    if (const int error = take_late(); error != 0) return write_error(error);
    for (const Range& r : order_) {
      if (!sweep(r)) return *error_;
    }
    // By value: a failure there adds to what failed.
    const std::vector<Range> leapt = std::exchange(leapt_, {});
    for (const Range& r : leapt) {
      if (!back_over(r)) return *error_;
    }
    for (unsigned round = 1; round <= options_.tries; ++round) {
      if (!one_by_one(round)) return *error_;
    }
    int error = take_late();
    if (error == 0) error = read_.flush();
    if (error != 0) return write_error(error);
    return work_;
  }

 private:
  enum class Outcome { kAll, kNotAll, kStop };

  /// Up to the border of a request.
  std::uint64_t request_end(std::uint64_t lba, std::uint64_t end) const noexcept {
    return std::min(end, lba - lba % request_sectors_ + request_sectors_);
  }
  std::uint64_t request_begin(std::uint64_t end, std::uint64_t first) const noexcept {
    return std::max(first, (end - 1) - (end - 1) % request_sectors_);
  }

  bool sweep(Range wanted) {
    std::uint64_t leap = request_sectors_;
    for (const Range& part : missing(wanted)) {
      for (std::uint64_t at = part.first; at < part.end;) {
        const std::uint64_t end = request_end(at, part.end);
        const Outcome outcome = request({at, end});
        if (outcome == Outcome::kStop) return false;
        at = end;
        if (outcome == Outcome::kAll) {
          leap = request_sectors_;
          continue;
        }
        const std::uint64_t landing = std::min(part.end, at + leap);
        if (landing > at) leapt_.push_back({at, landing});
        at = landing;
        leap = std::min(leap * 2, kFarthestLeapSectors);
      }
    }
    return true;
  }

  /// From the end, until it fails: what lies before that is bad from both sides, and is left to single sectors.
  bool back_over(Range leapt) {
    const std::vector<Range> parts = missing(leapt);
    for (auto part = parts.rbegin(); part != parts.rend(); ++part) {
      for (std::uint64_t end = part->end; end > part->first;) {
        const std::uint64_t first = request_begin(end, part->first);
        const Outcome outcome = request({first, end});
        if (outcome == Outcome::kStop) return false;
        end = first;
        if (outcome == Outcome::kNotAll) break;
      }
    }
    return true;
  }

  bool one_by_one(unsigned round) {
    const auto ask_for = [&](std::uint64_t lba) {
      return read_.tries(lba) >= round || request({lba, lba + 1}) != Outcome::kStop;
    };
    if (round % 2 == 1) {
      for (const Range& r : order_) {
        for (const Range& part : missing(r)) {
          for (std::uint64_t lba = part.first; lba < part.end; ++lba) {
            if (!ask_for(lba)) return false;
          }
        }
      }
      return true;
    }
    for (const Range& r : order_) {
      const std::vector<Range> parts = missing(r);
      for (auto part = parts.rbegin(); part != parts.rend(); ++part) {
        for (std::uint64_t lba = part->end; lba-- > part->first;) {
          if (!ask_for(lba)) return false;
        }
      }
    }
    return true;
  }

  std::vector<Range> missing(Range r) const {
    std::vector<Range> out;
    const std::span<const Range> good = read_.good().ranges();
    std::uint64_t at = r.first;
    for (std::size_t i = read_.good().first_ending_after(at); i < good.size() && good[i].first < r.end; ++i) {
      if (good[i].first > at) out.push_back({at, good[i].first});
      at = good[i].end;
    }
    if (at < r.end) out.push_back({at, r.end});
    return out;
  }

  Outcome request(Range lbas) {
    const auto count = static_cast<std::size_t>(lbas.length());
    const std::span<std::uint8_t> out = std::span(buffer_).first(count * kSectorBytes);
    const std::span<SectorState> states = std::span(states_).first(count);
    ++work_.requests;
    work_.sectors += count;
    if (const Result<Done> asked = calls_.ask(lbas.first, out, states); !asked) {
      read_.flush();
      return stop(asked.error());
    }
    bool all = true;
    for (std::size_t i = 0; i < count;) {
      std::size_t end = i + 1;
      while (end < count && states[end] == states[i]) ++end;
      int error = 0;
      if (states[i] == SectorState::kGood) {
        error = read_.record_good(lbas.first + i, Bytes(out).subspan(i * kSectorBytes, (end - i) * kSectorBytes));
        got_sectors_ += end - i;
      } else {
        all = false;
        // Of several, it is not known which failed.
        if (count == 1) error = read_.record_failed(lbas.first);
      }
      if (error != 0) return stop(write_error(error));
      i = end;
    }
    if (const int error = take_late(); error != 0) return stop(write_error(error));
    if (options_.progress &&
        !options_.progress({"reading from the drive", got_sectors_ * kSectorBytes, wanted_sectors_ * kSectorBytes})) {
      read_.flush();
      return stop({ErrorCode::kCancelled, "stopped while reading from the drive"});
    }
    return all ? Outcome::kAll : Outcome::kNotAll;
  }

  /// A sector that took too long is as good as any other when it comes.
  int take_late() {
    while (calls_.late) {
      const std::optional<LateSectors> late = calls_.late();
      if (!late) break;
      if (late->bytes.empty()) continue;
      if (const int error = read_.record_good(late->lba, late->bytes); error != 0) return error;
    }
    return 0;
  }

  Outcome stop(Error error) {
    error_ = std::move(error);
    return Outcome::kStop;
  }
  static Error write_error(int error) {
    return {ErrorCode::kCannotWrite, "what the drive gave can't be saved: " + errno_text(error)};
  }

  const DriveCalls& calls_;
  DriveRead& read_;
  std::span<const Range> order_;
  const DrivePasses& options_;
  std::uint64_t request_sectors_ = 0;
  std::vector<std::uint8_t> buffer_;
  std::vector<SectorState> states_;
  std::vector<Range> leapt_;
  DriveWork work_;
  std::uint64_t got_sectors_ = 0, wanted_sectors_ = 0;
  std::optional<Error> error_;
};

}  // namespace

Result<DriveWork> read_from_drive(const DriveCalls& calls, DriveRead& read, std::span<const Range> order,
                                  const DrivePasses& passes) {
  return Passes(calls, read, order, passes).run();
}

}  // namespace lacuna
