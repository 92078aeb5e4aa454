// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/frames.h"

#include <algorithm>
#include <array>
#include <map>
#include <numeric>
#include <unordered_map>

#include "iso9660/settle_roots.h"

namespace lacuna::iso9660 {
namespace {

constexpr std::array<std::uint32_t, 3> kBlockBytes{2048, 1024, 512};
constexpr std::uint64_t kLeastLinks = 2;   // fewer may be a coincidence
constexpr std::size_t kMostStored = 1024;  // images stored as files
constexpr int kMostTables = 1024;          // path tables looked at for each of these

/// What follows of a directory if blocks were of this size.
struct Vote {
  std::int64_t shift_bytes = 0;
  std::uint32_t directory = 0;
};

struct Group {
  std::uint32_t block_bytes = 0;
  std::int64_t shift_bytes = 0;
  std::uint64_t links = 0;
  std::size_t first = 0, end = 0;  // of the votes of that block size
};

std::uint64_t stands_at(std::uint32_t block, std::uint32_t block_bytes, std::int64_t shift_bytes) {
  return std::uint64_t{block} * block_bytes + static_cast<std::uint64_t>(shift_bytes);
}

class Grouping {
 public:
  explicit Grouping(const std::vector<FoundDirectory>& found) : found_(found), taken_(found.size()) {}

  std::vector<Frame> run() {
    std::vector<Group> groups;
    for (std::size_t i = 0; i < kBlockBytes.size(); ++i) {
      cast_votes(i);
      count_groups(i, groups);
    }
    // A directory is in one frame: that which most others confirm. That one of blocks of 2048 bytes stands where it
    // says is no coincidence; with other sizes a shifted one can seem to.
    const auto sure = [](const Group& g) { return g.shift_bytes == 0 && g.block_bytes == kSectorBytes; };
    std::stable_sort(groups.begin(), groups.end(), [&](const Group& a, const Group& b) {
      if (sure(a) != sure(b)) return sure(a);
      if (a.links != b.links) return a.links > b.links;
      return a.shift_bytes == 0 && b.shift_bytes != 0;
    });
    std::vector<Frame> frames;
    for (const Group& g : groups) take(g, frames);
    return frames;
  }

 private:
  void cast_votes(std::size_t size) {
    std::vector<Vote>& votes = votes_[size];
    votes.reserve(found_.size());
    for (std::uint32_t i = 0; i < found_.size(); ++i) {
      const std::uint64_t says = std::uint64_t{found_[i].block} * kBlockBytes[size];
      votes.push_back({static_cast<std::int64_t>(found_[i].position - says), i});
    }
    std::stable_sort(votes.begin(), votes.end(),
                     [](const Vote& a, const Vote& b) { return a.shift_bytes < b.shift_bytes; });
  }

  void count_groups(std::size_t size, std::vector<Group>& groups) {
    const std::vector<Vote>& votes = votes_[size];
    for (std::size_t first = 0; first < votes.size();) {
      Group g{kBlockBytes[size], votes[first].shift_bytes, 0, first, first};
      while (g.end < votes.size() && votes[g.end].shift_bytes == g.shift_bytes) ++g.end;
      for (std::size_t i = first; i < g.end; ++i) {
        const FoundDirectory& d = found_[votes[i].directory];
        const std::uint64_t parent = stands_at(d.parent_block, g.block_bytes, g.shift_bytes);
        const auto begin = votes.begin() + static_cast<std::ptrdiff_t>(first);
        const auto end = votes.begin() + static_cast<std::ptrdiff_t>(g.end);
        const auto at = std::lower_bound(begin, end, parent, [this](const Vote& v, std::uint64_t position) {
          return found_[v.directory].position < position;
        });
        if (at != end && found_[at->directory].position == parent) ++g.links;
      }
      groups.push_back(g);
      first = g.end;
    }
  }

  void take(const Group& g, std::vector<Frame>& frames) {
    const std::size_t size = static_cast<std::size_t>(std::find(kBlockBytes.begin(), kBlockBytes.end(), g.block_bytes) -
                                                      kBlockBytes.begin());
    Frame frame{g.block_bytes, g.shift_bytes, {}, g.links, {}};
    for (std::size_t i = g.first; i < g.end; ++i) {
      const std::uint32_t at = votes_[size][i].directory;
      if (taken_[at]) continue;
      taken_[at] = true;
      const FoundDirectory& d = found_[at];
      const std::uint32_t parent = d.real_parent_block != 0 ? d.real_parent_block : d.parent_block;
      frame.directories.push_back({d.position, stands_at(parent, g.block_bytes, g.shift_bytes), d.bytes,
                                   d.real_parent_block != 0 ? 0 : d.parent_bytes, 0, d.kind, d.real_parent_block != 0,
                                   d.rock_ridge, d.dated, d.recorded_seconds});
    }
    if (!frame.directories.empty()) frames.push_back(std::move(frame));
  }

  const std::vector<FoundDirectory>& found_;
  std::array<std::vector<Vote>, kBlockBytes.size()> votes_;
  std::vector<bool> taken_;
};

/// Joins directories to trees by their parents, found or not, and lets most tell how all record identifiers.
void find_trees(Frame& frame) {
  std::vector<std::uint32_t> up(frame.directories.size());
  std::iota(up.begin(), up.end(), 0U);
  const auto top = [&up](std::uint32_t i) {
    while (up[i] != i) i = up[i] = up[up[i]];
    return i;
  };
  std::unordered_map<std::uint64_t, std::uint32_t> at;  // by position; lost parents by the first child
  for (std::uint32_t i = 0; i < up.size(); ++i) at.emplace(frame.directories[i].position, i);
  for (std::uint32_t i = 0; i < up.size(); ++i) {
    if (frame.directories[i].parent == kUnknownParent) continue;
    const auto [parent, fresh] = at.emplace(frame.directories[i].parent, i);
    if (!fresh) up[top(i)] = top(parent->second);
  }
  std::vector<std::int32_t> balance(up.size());  // positive: most identifiers are of 8 bits
  for (std::uint32_t i = 0; i < up.size(); ++i) {
    FrameDirectory& d = frame.directories[i];
    d.tree = top(i);
    if (d.kind != IdentifierKind::kUnknown) balance[d.tree] += d.kind == IdentifierKind::kBytes ? 1 : -1;
  }
  for (FrameDirectory& d : frame.directories) {
    if (d.kind != IdentifierKind::kUnknown || balance[d.tree] == 0) continue;
    d.kind = balance[d.tree] > 0 ? IdentifierKind::kBytes : IdentifierKind::kUcs2;
  }
}

}  // namespace

const FrameDirectory* Frame::find(std::uint64_t position) const {
  const auto at = std::lower_bound(directories.begin(), directories.end(), position,
                                   [](const FrameDirectory& d, std::uint64_t wanted) { return d.position < wanted; });
  return at != directories.end() && at->position == position ? &*at : nullptr;
}

Frames::Frames(const Remains& remains, const Image& image)
    : remains_(&remains), frames_(Grouping(remains.directories()).run()) {
  for (Frame& frame : frames_) {
    settle_roots(image, remains, frame);
    find_trees(frame);
    frame.parents.reserve(frame.directories.size());
    for (const FrameDirectory& d : frame.directories) frame.parents.push_back(d.parent);
    std::sort(frame.parents.begin(), frame.parents.end());
  }
}

const Frame* Frames::of_shift(std::int64_t shift_bytes) const {
  const Frame* best = nullptr;
  for (const Frame& f : frames_) {
    if (f.shift_bytes != shift_bytes) continue;
    if (best == nullptr || f.directories.size() > best->directories.size()) best = &f;
  }
  return best;
}

const Frame* Frames::own(bool head_readable) const {
  if (const Frame* zero = of_shift(0)) return zero;
  const Frame* best = nullptr;
  for (const Frame& f : frames_) {
    if (f.shift_bytes > 0 && !head_readable) continue;
    if (best == nullptr) {
      best = &f;
      continue;
    }
    const bool proven = f.links >= kLeastLinks, best_proven = best->links >= kLeastLinks;
    if (proven != best_proven ? proven : f.shift_bytes < best->shift_bytes) best = &f;
  }
  return best;
}

std::vector<Range> Frames::stored_images(std::int64_t shift_bytes) const {
  std::vector<Range> ranges;
  for (const Frame& f : frames_) {
    // A frame that nothing in it confirms may be a coincidence.
    if (f.shift_bytes <= shift_bytes || f.shift_bytes < 0 || f.links == 0) continue;
    const auto first = static_cast<std::uint64_t>(f.shift_bytes);
    std::uint64_t end = f.directories.back().position + f.directories.back().bytes;
    int left = kMostTables;
    for (const FoundPathTable& t : remains_->path_tables()) {
      if (!t.start || t.position < end || left-- <= 0) continue;
      if (f.find(stands_at(t.root_block, f.block_bytes, f.shift_bytes)) != nullptr) end = t.position + kSectorBytes;
    }
    ranges.push_back({first, end});
    if (ranges.size() == kMostStored) break;
  }
  return ranges;
}

}  // namespace lacuna::iso9660
