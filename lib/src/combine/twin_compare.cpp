// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/twin_compare.h"

#include <xxhash.h>

#include <algorithm>
#include <cstring>
#include <unordered_set>
#include <vector>

#include "combine/twin_bytes.h"
#include "combine/twin_rule.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kTwinChunkBytes = std::uint64_t{1} << 18;  // whole blocks

/// A chunk of one of the files: its bytes, and which of them are not good.
struct TwinChunk {
  std::vector<std::uint8_t> bytes = std::vector<std::uint8_t>(kTwinChunkBytes);
  std::vector<Gap> gaps;
  RangeSet bad;

  void read(FileReader& file, Range chunk) {
    gaps.clear();
    const auto wanted = static_cast<std::size_t>(chunk.length());
    const std::size_t got = file.read(chunk.first, std::span(bytes).first(wanted), gaps);
    std::vector<Range> ranges;
    for (const Gap& g : gaps) ranges.push_back({g.offset, g.offset + g.length});
    if (got < wanted) ranges.push_back({chunk.first + got, chunk.end});
    bad = RangeSet::from_unsorted(std::move(ranges));
  }
};

RangeSet one_range(Range r) { return RangeSet::from_unsorted({r}); }

class TwinComparer {
 public:
  TwinComparer(FileReader& here, const RangeSet& lacking, FileReader& there)
      : here_(here), lacking_(lacking), there_(there) {}

  TwinComparison run(const std::function<bool(std::uint64_t)>& proceed) {
    const std::uint64_t size = here_.size();
    for (std::uint64_t at = 0; at < size && !out_.differs_at; at += kTwinChunkBytes) {
      const Range chunk{at, std::min(size, at + kTwinChunkBytes)};
      if (!proceed(chunk.length())) {
        out_.given_up = true;
        break;
      }
      compare(chunk);
    }
    end_run();
    out_.shared_blocks = telling_.size();
    return std::move(out_);
  }

 private:
  void compare(Range chunk) {
    const RangeSet all = one_range(chunk);
    next_lacking_ = lacking_.first_ending_after(chunk.first, next_lacking_);
    const RangeSet lacking = part_of(lacking_, chunk, next_lacking_);
    b_.read(there_, chunk);
    a_.read(here_, chunk);
    if (!a_.bad.minus(lacking).empty()) out_.worse_here = true;
    const RangeSet good_there = all.minus(b_.bad);
    const RangeSet given = lacking.intersected(good_there);
    told_.clear();
    const RangeSet good_in_both = good_there.minus(a_.bad);
    for (const Range& r : good_in_both.ranges()) {
      if (!compare_good(r, chunk)) return;
    }
    for (const Range& r : given.ranges()) out_.gives.add(r);
    for (const Range& r : good_there.ranges()) follow_run(r, given);
  }

  /// False when the files differ in these bytes, which are good in both.
  bool compare_good(Range r, Range chunk) {
    const std::uint8_t* a = a_.bytes.data() + (r.first - chunk.first);
    const std::uint8_t* b = b_.bytes.data() + (r.first - chunk.first);
    const auto bytes = static_cast<std::size_t>(r.length());
    if (std::memcmp(a, b, bytes) != 0) {
      out_.differs_at = r.first + static_cast<std::uint64_t>(std::mismatch(a, a + bytes, b).first - a);
      return false;
    }
    out_.shared_bytes += r.length();
    const std::uint64_t first = (r.first + kTwinBlockBytes - 1) / kTwinBlockBytes * kTwinBlockBytes;
    for (std::uint64_t at = first; at < r.end; at += kTwinBlockBytes) {
      const std::uint64_t end = std::min(at + kTwinBlockBytes, here_.size());
      if (end > r.end) break;
      const auto block =
          std::span(a, bytes).subspan(static_cast<std::size_t>(at - r.first), static_cast<std::size_t>(end - at));
      if (!tells_something(block)) continue;
      told_.push_back(at);
      if (telling_.size() < kMostTwinBlocks) telling_.insert(XXH3_64bits(block.data(), block.size()));
    }
    return true;
  }

  /// Takes the next stretch that is good there, ascending; stretches that touch are one run.
  void follow_run(Range good, const RangeSet& given) {
    if (good.first != run_.end) {
      end_run();
      run_ = {good.first, good.first};
      run_tells_ = run_gives_ = false;
    }
    run_.end = good.end;
    const auto told = std::lower_bound(told_.begin(), told_.end(), good.first);
    run_tells_ |= told != told_.end() && *told < good.end;
    run_gives_ |= given.intersects(good);
  }

  void end_run() {
    if (run_gives_ && !run_tells_) out_.anchored = false;
  }

  FileReader& here_;
  const RangeSet& lacking_;
  FileReader& there_;
  std::size_t next_lacking_ = 0;
  TwinChunk a_, b_;
  std::vector<std::uint64_t> told_;            // telling blocks of the chunk that are in both, by their offsets
  std::unordered_set<std::uint64_t> telling_;  // by their hashes: a collision makes them fewer, never more
  Range run_{~std::uint64_t{0}, ~std::uint64_t{0}};
  bool run_tells_ = false, run_gives_ = false;
  TwinComparison out_;
};

}  // namespace

TwinComparison compare_twins(FileReader& here, const RangeSet& lacking, FileReader& there,
                             const std::function<bool(std::uint64_t)>& proceed) {
  return TwinComparer(here, lacking, there).run(proceed);
}

}  // namespace lacuna
