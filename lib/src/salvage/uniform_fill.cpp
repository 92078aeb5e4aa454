// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/uniform_fill.h"

#include <algorithm>
#include <atomic>
#include <cstring>
#include <deque>
#include <memory>
#include <mutex>
#include <vector>

#include "base/workers.h"
#include "lacuna/verdict.h"
#include "salvage/gaps.h"

namespace lacuna {
namespace {

constexpr std::size_t kLongestPeriod = 64;
constexpr std::uint64_t kChunkSectors = 512;  // 1 MiB a request

std::uint64_t load64(const std::uint8_t* p) noexcept {
  std::uint64_t v;
  std::memcpy(&v, p, sizeof v);
  return v;
}

/// Looks at one piece after another; what it found is in ascending order.
class Looker {
 public:
  Looker(const Image& image, std::vector<Range>& found)
      : image_(image), found_(found), bytes_(kChunkSectors * kSectorBytes), states_(kChunkSectors) {}

  void look_at(const Range& chunk) {
    const auto count = static_cast<std::size_t>(chunk.length());
    image_.read(chunk.first, std::span(bytes_).first(count * kSectorBytes), std::span(states_).first(count));
    for (std::size_t k = 0; k < count; ++k) {
      if (!is_sound(states_[k]) || uniform_period({bytes_.data() + k * kSectorBytes, kSectorBytes}) == 0) continue;
      const std::uint64_t lba = chunk.first + k;
      if (!found_.empty() && found_.back().end == lba) {
        ++found_.back().end;
      } else {
        found_.push_back({lba, lba + 1});
      }
    }
  }

 private:
  const Image& image_;
  std::vector<Range>& found_;
  std::vector<std::uint8_t> bytes_;
  std::vector<SectorState> states_;
};

std::vector<Range> chunks_of(const RangeSet& lbas) {
  std::vector<Range> chunks;
  for (const Range& r : lbas.ranges()) {
    for (std::uint64_t at = r.first; at < r.end; at += kChunkSectors) {
      chunks.push_back({at, std::min(r.end, at + kChunkSectors)});
    }
  }
  return chunks;
}

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
  const std::vector<Range> chunks = chunks_of(lbas);
  const std::uint64_t total_bytes = lbas.total() * kSectorBytes;
  std::atomic<std::uint64_t> done_sectors{0};
  std::atomic<bool> stop{false};
  bool cancelled = false;
  std::mutex mutex;  // of `found`
  std::deque<std::vector<Range>> found;
  run_workers(
      threads, chunks.size(),
      [&] {
        const std::lock_guard lock(mutex);
        return [&, looker = std::make_shared<Looker>(image, found.emplace_back())](std::size_t i) {
          looker->look_at(chunks[i]);
          done_sectors.fetch_add(chunks[i].length(), std::memory_order_relaxed);
        };
      },
      stop,
      [&] {
        if (!progress || progress({"checking contents", done_sectors.load() * kSectorBytes, total_bytes})) return true;
        cancelled = true;
        return false;
      });
  if (cancelled) return Error{ErrorCode::kCancelled, "cancelled while checking contents"};
  std::vector<Range> all;
  for (const auto& part : found) all.insert(all.end(), part.begin(), part.end());
  return RangeSet::from_unsorted(std::move(all));
}

}  // namespace lacuna
