// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/uniform_fill.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstring>
#include <system_error>
#include <thread>
#include <vector>

#include "lacuna/verdict.h"
#include "salvage/gaps.h"

namespace lacuna {
namespace {

constexpr std::size_t kLongestPeriod = 64;
constexpr std::uint64_t kChunkSectors = 512;  // 1 MiB a request
constexpr auto kBetweenReports = std::chrono::milliseconds(50);

std::uint64_t load64(const std::uint8_t* p) noexcept {
  std::uint64_t v;
  std::memcpy(&v, p, sizeof v);
  return v;
}

/// Reads chunks until there are no more; the found sectors are in ascending order within one worker.
class Scan {
 public:
  Scan(const Image& image, const RangeSet& lbas) : image_(image) {
    for (const Range& r : lbas.ranges()) {
      for (std::uint64_t at = r.first; at < r.end; at += kChunkSectors) {
        chunks_.push_back({at, std::min(r.end, at + kChunkSectors)});
      }
    }
  }

  std::size_t chunk_count() const noexcept { return chunks_.size(); }
  std::uint64_t done_bytes() const noexcept { return done_sectors_.load(std::memory_order_relaxed) * kSectorBytes; }
  void stop() noexcept { next_.store(chunks_.size()); }

  /// `report` is asked after each chunk whether to go on.
  template <class Report>
  void work(std::vector<Range>& found, Report&& report) {
    std::vector<std::uint8_t> bytes(kChunkSectors * kSectorBytes);
    std::vector<SectorState> states(kChunkSectors);
    for (std::size_t i = next_.fetch_add(1); i < chunks_.size(); i = next_.fetch_add(1)) {
      const Range chunk = chunks_[i];
      const auto count = static_cast<std::size_t>(chunk.length());
      image_.read(chunk.first, std::span(bytes).first(count * kSectorBytes), std::span(states).first(count));
      for (std::size_t k = 0; k < count; ++k) {
        if (!is_sound(states[k]) || uniform_period({bytes.data() + k * kSectorBytes, kSectorBytes}) == 0) continue;
        const std::uint64_t lba = chunk.first + k;
        if (!found.empty() && found.back().end == lba) {
          ++found.back().end;
        } else {
          found.push_back({lba, lba + 1});
        }
      }
      done_sectors_.fetch_add(count, std::memory_order_relaxed);
      if (!report()) return;
    }
  }

 private:
  const Image& image_;
  std::vector<Range> chunks_;
  std::atomic<std::size_t> next_{0};
  std::atomic<std::uint64_t> done_sectors_{0};
};

}  // namespace

unsigned uniform_period(std::span<const std::uint8_t> sector) noexcept {
  const std::size_t n = sector.size();
  if (n < kLongestPeriod + sizeof(std::uint64_t)) return 0;
  const std::uint8_t* s = sector.data();
  // A pattern of period p makes the sector equal to itself moved by p. Eight bytes at the front reject nearly all.
  const std::uint64_t head = load64(s);
  for (std::size_t p = 1; p <= kLongestPeriod; ++p) {
    if (load64(s + p) == head && std::memcmp(s, s + p, n - p) == 0) return static_cast<unsigned>(p);
  }
  return 0;
}

Result<RangeSet> find_uniform_fill(const Image& image, const RangeSet& lbas, unsigned threads,
                                   const ProgressCallback& progress) {
  Scan scan(image, lbas);
  const std::uint64_t total_bytes = lbas.total() * kSectorBytes;
  const std::size_t wanted = std::clamp<std::size_t>(scan.chunk_count(), 1, std::max(1U, threads));
  std::vector<std::vector<Range>> found(wanted);
  bool cancelled = false;
  {
    std::vector<std::jthread> helpers;
    helpers.reserve(wanted);
    for (std::size_t t = 1; t < wanted; ++t) {
      try {
        helpers.emplace_back([&scan, &mine = found[t]] { scan.work(mine, [] { return true; }); });
      } catch (const std::system_error&) {
        break;  // No more threads to be had: those that run do the work.
      }
    }
    auto last_report = std::chrono::steady_clock::now() - kBetweenReports;
    scan.work(found[0], [&] {
      const auto now = std::chrono::steady_clock::now();
      if (!progress || now - last_report < kBetweenReports) return true;
      last_report = now;
      cancelled = !progress({"checking contents", scan.done_bytes(), total_bytes});
      if (cancelled) scan.stop();
      return !cancelled;
    });
  }
  if (!cancelled && progress) cancelled = !progress({"checking contents", scan.done_bytes(), total_bytes});
  if (cancelled) return Error{ErrorCode::kCancelled, "cancelled while checking contents"};
  std::vector<Range> all;
  for (const auto& part : found) all.insert(all.end(), part.begin(), part.end());
  return RangeSet::from_unsorted(std::move(all));
}

}  // namespace lacuna
