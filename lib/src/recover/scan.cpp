// SPDX-License-Identifier: GPL-3.0-or-later
#include "recover/scan.h"

#include <algorithm>
#include <atomic>
#include <mutex>
#include <vector>

#include "base/workers.h"
#include "disc/claims.h"

namespace lacuna::recover {
namespace {

// Small enough to stay in a core's cache while it is looked at.
constexpr std::uint64_t kChunkSectors = 128;
// Structures that start at the end of a chunk run over it: a block or a file identifier of 4096 bytes.
constexpr std::uint64_t kBeyondSectors = 2;
// What is smaller is looked at before threads have started.
constexpr std::size_t kFewChunks = 16;

std::vector<Range> chunks_of(const RangeSet& ranges) {
  std::vector<Range> chunks;
  for (const Range& r : ranges.ranges()) {
    for (std::uint64_t at = r.first; at < r.end; at += kChunkSectors) {
      chunks.push_back({at, std::min(at + kChunkSectors, r.end)});
    }
  }
  return chunks;
}

/// For one thread.
class Looker {
 public:
  Looker(const Image& image, Remains& found)
      : image_(image),
        found_(found),
        bytes_((kChunkSectors + kBeyondSectors) * kSectorBytes),
        states_(kChunkSectors + kBeyondSectors) {}

  void look(const Range& chunk) {
    const std::size_t own = static_cast<std::size_t>(chunk.length());
    const std::size_t count = own + static_cast<std::size_t>(kBeyondSectors);
    image_.read(chunk.first, std::span(bytes_).first(count * kSectorBytes), std::span(states_).first(count));
    for (std::size_t at = 0; at < own;) {
      if (!has_bytes(states_[at])) {
        ++at;
        continue;
      }
      std::size_t end = at;
      while (end < count && has_bytes(states_[end])) ++end;
      const std::size_t own_end = std::min(end, own);
      const Bytes run = Bytes(bytes_).subspan(at * kSectorBytes, (end - at) * kSectorBytes);
      const std::uint64_t position = (chunk.first + at) * kSectorBytes;
      found_.iso9660.look_at(run, (own_end - at) * kSectorBytes, position);
      found_.udf.look_at(run, (own_end - at) * kSectorBytes, position);
      at = end;
    }
  }

 private:
  const Image& image_;
  Remains& found_;
  std::vector<std::uint8_t> bytes_;
  std::vector<SectorState> states_;
};

/// Gives false when it was cancelled.
bool look_side_by_side(const Image& image, const ScanRequest& request, const std::vector<Range>& chunks, Remains& all) {
  std::mutex mutex;  // of `workers`
  std::vector<std::unique_ptr<Remains>> workers;
  std::atomic<std::size_t> done{0};
  std::atomic<bool> stop{false};
  run_workers(
      request.threads, chunks.size(),
      [&]() -> std::function<void(std::size_t)> {
        const std::lock_guard lock(mutex);
        workers.push_back(std::make_unique<Remains>());
        return [&, looker = Looker(image, *workers.back())](std::size_t i) mutable {
          looker.look(chunks[i]);
          ++done;
        };
      },
      stop,
      [&] {
        if (!request.progress) return true;
        const std::uint64_t bytes = std::min(done * kChunkSectors * kSectorBytes, all.looked_at_bytes);
        return request.progress({"looking for lost structures", bytes, all.looked_at_bytes});
      });
  for (const auto& worker : workers) {
    all.iso9660.add(std::move(worker->iso9660));
    all.udf.add(std::move(worker->udf));
  }
  return !stop;
}

}  // namespace

Result<Remains> scan(const Image& image, const ScanRequest& request) {
  const RangeSet ranges = sectors_of_image(image, {image.first_lba(), image.end_lba()}, true).minus(request.skip_lbas);
  const std::vector<Range> chunks = chunks_of(ranges);
  Remains all;
  all.looked_at_bytes = ranges.total() * kSectorBytes;
  if (chunks.size() <= kFewChunks) {
    Looker looker(image, all);
    for (const Range& chunk : chunks) looker.look(chunk);
  } else if (!look_side_by_side(image, request, chunks, all)) {
    return Error{ErrorCode::kCancelled, "cancelled while looking for lost structures"};
  }
  all.iso9660.finish();
  all.udf.finish();
  return all;
}

}  // namespace lacuna::recover
