// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/merge.h"

#include <algorithm>
#include <utility>

#include "base/workers.h"
#include "combine/choose.h"
#include "combine/join_reads.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kChunkSectors = 256;
constexpr std::uint64_t kPieceSectors = 16 * kChunkSectors;

/// Ranges cut into pieces of bounded size.
std::vector<Range> cut(const RangeSet& lbas, std::uint64_t most_sectors) {
  std::vector<Range> pieces;
  for (const Range& r : lbas.ranges()) {
    for (std::uint64_t at = r.first; at < r.end; at += most_sectors)
      pieces.push_back({at, std::min(r.end, at + most_sectors)});
  }
  return pieces;
}

/// What one read has of a chunk.
struct ChunkOf {
  const Image* image = nullptr;
  std::vector<std::uint8_t> bytes;
  std::vector<SectorState> states;
};

/// Settles chunk after chunk; one a thread.
class Settler {
 public:
  Settler(const MergeReads& reads, const SectorSink& sink, std::atomic<int>& write_error)
      : reads_(reads), sink_(sink), write_error_(write_error), unit_(reads.sector_bytes()), join_(reads) {
    for (const Image* image : reads.images) {
      chunks_.push_back(
          {image, std::vector<std::uint8_t>(kChunkSectors * unit_), std::vector<SectorState>(kChunkSectors)});
    }
    candidates_.resize(reads.images.size());
    out_.resize(kChunkSectors * unit_);
  }

  void settle(Range lbas, SettledRuns& runs) {
    for (std::uint64_t at = lbas.first; at < lbas.end && write_error_ == 0; at += kChunkSectors) {
      settle_chunk(at, static_cast<std::size_t>(std::min(kChunkSectors, lbas.end - at)), runs);
    }
  }

 private:
  void settle_chunk(std::uint64_t lba, std::size_t count, SettledRuns& runs) {
    for (ChunkOf& c : chunks_) {
      const std::span<std::uint8_t> bytes = std::span(c.bytes).first(count * unit_);
      const std::span<SectorState> states = std::span(c.states).first(count);
      reads_.raw ? c.image->read_raw(lba, bytes, states) : c.image->read(lba, bytes, states);
    }
    for (std::size_t i = 0; i < count; ++i) append_run(runs, settle_sector(lba + i, i));
    const int error = sink_(lba, Bytes(out_).first(count * unit_));
    if (error != 0) write_error_ = error;
  }

  SettledRun settle_sector(std::uint64_t lba, std::size_t i) {
    for (std::size_t r = 0; r < chunks_.size(); ++r) {
      const ChunkOf& c = chunks_[r];
      const bool coded = c.image->raw() != nullptr && has_bytes(c.states[i]) && !c.image->unproven().contains(lba);
      candidates_[r] = {Bytes(c.bytes).subspan(i * unit_, unit_), c.states[i], coded,
                        coded ? Basis::kEdc : c.image->unproven_basis(), static_cast<std::uint8_t>(r)};
    }
    const std::span<std::uint8_t> out = std::span(out_).subspan(i * unit_, unit_);
    const Choice choice = choose(candidates_);
    if (choice.state > SectorState::kRepaired || might_be_proven(choice)) {
      if (const std::optional<ReadMask> joined = join_.join(lba, candidates_, out)) {
        return {lba, 1, SectorState::kRepaired, Settled::kJoined, Basis::kEdc, *joined, differing_from(out)};
      }
    }
    if (has_bytes(choice.state)) {
      std::ranges::copy(candidates_[choice.taken].bytes, out.begin());
    } else {
      std::ranges::fill(out, std::uint8_t{0});
    }
    return {lba, 1, choice.state, choice.how, choice.basis, choice.agreeing, choice.against};
  }

  /// Good by what reads say, while a code that failed is there to be asked.
  bool might_be_proven(const Choice& choice) const {
    if (choice.how == Settled::kProven || choice.how == Settled::kRepaired) return false;
    for (const Candidate& c : candidates_) {
      if (c.state == SectorState::kBad && chunks_[c.read].image->raw() != nullptr) return true;
    }
    return false;
  }

  ReadMask differing_from(Bytes right) const {
    ReadMask mask = 0;
    for (const Candidate& c : candidates_) {
      if (c.state <= SectorState::kRepaired && !std::ranges::equal(c.bytes, right)) mask |= ReadMask{1} << c.read;
    }
    return mask;
  }

  const MergeReads& reads_;
  const SectorSink& sink_;
  std::atomic<int>& write_error_;
  std::uint32_t unit_;
  ReadJoiner join_;
  std::vector<ChunkOf> chunks_;
  std::vector<Candidate> candidates_;
  std::vector<std::uint8_t> out_;
};

}  // namespace

MergeTrouble merge(const MergeReads& reads, const RangeSet& lbas, const SectorSink& sink, unsigned threads,
                   const ProgressCallback& progress, SettledRuns& out) {
  const std::vector<Range> pieces = cut(lbas, kPieceSectors);
  std::vector<SettledRuns> runs(pieces.size());
  std::atomic<bool> stop = false;
  std::atomic<int> write_error = 0;
  std::atomic<std::uint64_t> done_sectors = 0;
  bool cancelled = false;
  const std::uint64_t total = lbas.total();
  run_workers(
      threads, pieces.size(),
      [&] {
        // std::function must be copyable.
        auto settler = std::make_shared<Settler>(reads, sink, write_error);
        return [&, settler](std::size_t piece) {
          settler->settle(pieces[piece], runs[piece]);
          done_sectors += pieces[piece].length();
          if (write_error != 0) stop = true;
        };
      },
      stop,
      [&] {
        if (progress && !progress({"comparing the reads", done_sectors * kSectorBytes, total * kSectorBytes})) {
          cancelled = true;
        }
        return !cancelled;
      });
  for (const SettledRuns& piece : runs) {
    for (const SettledRun& run : piece) append_run(out, run);
  }
  return {write_error, cancelled};
}

}  // namespace lacuna
