// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/pieces.h"

#include <algorithm>
#include <numeric>

#include "salvage/gaps.h"

namespace lacuna {
namespace {

constexpr std::uint64_t kFar = ~std::uint64_t{0};

bool is_interleaved(const Extent& e) noexcept {
  return e.unit_bytes != 0 && e.gap_bytes != 0 && e.bytes > e.unit_bytes;
}

std::uint64_t stride(const Extent& e) noexcept { return std::uint64_t{e.unit_bytes} + e.gap_bytes; }

/// A file of a file system that stands for samples of an audio track, which is listed as well.
bool is_audio_file(const Tree& tree, NodeId id) {
  if (!tree.node(id).has(node_flag::kRawSectors)) return false;
  const RawContent* raw = tree.raw_content(id);
  return raw != nullptr && raw->header == RawContent::Header::kWave && !raw->track;
}

class Collector {
 public:
  explicit Collector(Range window) : window_(window) {}

  void reserve(std::size_t pieces) { list_.pieces.reserve(pieces); }
  void set_aside(NodeId id) { list_.aside.push_back(id); }
  void tell_whole_sectors() { list_.whole_sectors = true; }
  PieceList take() { return std::move(list_); }

  /// `e` is cut to the bytes that count.
  void add(NodeId node, const Extent& e, std::uint64_t offset, bool with_outside) {
    if (!e.has_place()) {
      if (e.position == kZeros) add_zeros(node, e.bytes, offset);
      return;
    }
    const std::uint64_t before = bytes_before(e, window_.first);
    const std::uint64_t behind = std::max(before, bytes_before(e, window_.end));
    if (with_outside) {
      add_outside(node, e, offset, 0, before);
      add_outside(node, e, offset, behind, e.bytes);
    }
    if (before >= behind) return;
    if (!is_interleaved(e)) {
      add_piece(node, e.position + before, behind - before, offset + before);
      return;
    }
    const std::uint64_t count = (behind - 1) / e.unit_bytes - before / e.unit_bytes + 1;
    if (count > kMaxInterleavedPieces - interleaved_) {
      if (list_.untaken.empty() || list_.untaken.back() != node) list_.untaken.push_back(node);
      return;
    }
    interleaved_ += count;
    for (std::uint64_t at = before; at < behind;) {
      const ExtentPart s = extent_part_at(e, at);
      const std::uint64_t bytes = std::min(s.bytes, behind - at);
      add_piece(node, s.position, bytes, offset + at);
      at += bytes;
    }
  }

 private:
  void add_piece(NodeId node, std::uint64_t position, std::uint64_t bytes, std::uint64_t offset) {
    if (!list_.pieces.empty()) {
      FilePiece& last = list_.pieces.back();
      if (last.node == node && last.end() == position && last.offset + last.bytes == offset) {
        last.bytes += bytes;
        return;
      }
    }
    list_.pieces.push_back({position, bytes, offset, node, 0});
  }

  void add_zeros(NodeId node, std::uint64_t bytes, std::uint64_t offset) {
    if (!list_.zeros.empty()) {
      ZeroStretch& last = list_.zeros.back();
      if (last.node == node && last.end() == offset) {
        last.bytes += bytes;
        return;
      }
    }
    list_.zeros.push_back({offset, bytes, node});
  }

  void add_outside(NodeId node, const Extent& e, std::uint64_t offset, std::uint64_t first, std::uint64_t end) {
    if (first >= end) return;
    const std::uint64_t last = extent_part_at(e, end - 1).position;
    list_.outside.push_back(
        {extent_part_at(e, first).position, saturating_add(last, 1), offset + first, end - first, node});
  }

  Range window_;
  PieceList list_;
  std::uint64_t interleaved_ = 0;
};

}  // namespace

Range byte_window(const Image& image) noexcept {
  const std::uint64_t first = image.first_lba() * kSectorBytes;
  return {first, std::max(first, image.end_byte())};
}

bool is_compressed(const Tree& tree, const Node& node) {
  return node.kind == NodeKind::kFile && node.details != 0 && tree.details(node).zisofs.has_value();
}

bool is_stored_plain(const Tree& tree, const Node& node) {
  return !node.has(node_flag::kRawSectors) && !is_compressed(tree, node);
}

std::uint64_t stored_bytes(const Tree& tree, const Node& node) {
  const std::uint64_t limit = is_stored_plain(tree, node) ? node.size : kFar;
  std::uint64_t sum = 0;
  for (const Extent& e : tree.extents(node)) {
    sum = saturating_add(sum, e.bytes);
    if (sum >= limit) return limit;
  }
  return sum;
}

PieceList collect_pieces(const Tree& tree, Range window, bool with_outside) {
  Collector collector(window);
  collector.reserve(tree.size());
  for (NodeId id = 1; id < tree.size(); ++id) {
    const Node& node = tree.node(id);
    if (node.kind != NodeKind::kFile || node.has(node_flag::kUnlocated)) continue;
    if (node.has(node_flag::kBoot | node_flag::kDeleted) || is_audio_file(tree, id)) collector.set_aside(id);
    if (node.has(node_flag::kRawSectors)) collector.tell_whole_sectors();
    const std::uint64_t limit = is_stored_plain(tree, node) ? node.size : kFar;
    std::uint64_t offset = 0;
    for (Extent e : tree.extents(node)) {
      if (offset >= limit) break;
      e.bytes = std::min(e.bytes, limit - offset);
      if (e.bytes == 0) continue;
      collector.add(id, e, offset, with_outside);
      offset = saturating_add(offset, e.bytes);
    }
  }
  return collector.take();
}

LargeVector<std::uint32_t> by_position(std::span<const FilePiece> pieces) {
  LargeVector<std::uint32_t> order(pieces.size());
  const auto ascending = [](const FilePiece& a, const FilePiece& b) {
    return a.position != b.position ? a.position < b.position : a.bytes < b.bytes;
  };
  if (std::is_sorted(pieces.begin(), pieces.end(), ascending)) {  // most discs are written in the order of their tree
    std::iota(order.begin(), order.end(), std::uint32_t{0});
    return order;
  }
  // Keys beside each other sort several times faster than indices into the pieces.
  struct Key {
    std::uint64_t position;
    std::uint32_t index;
  };
  LargeVector<Key> keys(pieces.size());
  for (std::size_t i = 0; i < keys.size(); ++i) keys[i] = {pieces[i].position, static_cast<std::uint32_t>(i)};
  const auto before = [&](const Key& a, const Key& b) {
    if (a.position != b.position) return a.position < b.position;
    const std::uint64_t x = pieces[a.index].bytes;
    const std::uint64_t y = pieces[b.index].bytes;
    return x != y ? x < y : a.index < b.index;
  };
  std::sort(keys.begin(), keys.end(), before);
  std::transform(keys.begin(), keys.end(), order.begin(), [](const Key& k) { return k.index; });
  return order;
}

ExtentPart extent_part_at(const Extent& e, std::uint64_t offset) noexcept {
  if (!is_interleaved(e)) return {saturating_add(e.position, offset), e.bytes - offset};
  const std::uint64_t unit = offset / e.unit_bytes;
  const std::uint64_t within = offset % e.unit_bytes;
  const std::uint64_t bytes = std::min<std::uint64_t>(e.unit_bytes - within, e.bytes - offset);
  if (unit > (kFar - e.position) / stride(e)) return {kFar, bytes};
  return {saturating_add(e.position + unit * stride(e), within), bytes};
}

std::uint64_t bytes_before(const Extent& e, std::uint64_t position) noexcept {
  if (position <= e.position) return 0;
  const std::uint64_t distance = position - e.position;
  if (!is_interleaved(e)) return std::min(e.bytes, distance);
  const std::uint64_t units = distance / stride(e);
  const std::uint64_t within = std::min<std::uint64_t>(distance % stride(e), e.unit_bytes);
  return std::min(e.bytes, units * e.unit_bytes + within);
}

}  // namespace lacuna
