// SPDX-License-Identifier: GPL-3.0-or-later
// Doubts in words. They are made when asked for: a hostile disc can bring up one a file, each with a long path in it.
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "disc/raw_content.h"
#include "lacuna/verdict.h"
#include "salvage/pieces.h"

namespace lacuna {
namespace {

using Kind = JudgedDoubt::Kind;
constexpr std::size_t kStretchesTold = 3;

std::string lbas(std::uint64_t first, std::uint64_t last) {
  return first == last ? fmt::format("LBA {}", first) : fmt::format("LBA {}-{}", first, last);
}

std::string plural(std::uint64_t n, std::string_view one) { return fmt::format("{} {}{}", n, one, n == 1 ? "" : "s"); }

std::string words(const Disc& disc, const JudgedDoubt& d) {
  const Tree& tree = disc.tree();
  switch (d.kind) {
    case Kind::kSharesSectors:
      if (d.partner == d.node) return fmt::format("its own extents overlap, {}", lbas(d.first_lba, d.last_lba));
      return fmt::format("shares sectors {}-{} with {}", d.first_lba, d.last_lba, tree.path(d.partner));
    case Kind::kSameStart:
      return fmt::format("same extent with different lengths: {} also starts at LBA {}", tree.path(d.partner),
                         d.first_lba);
    case Kind::kSharesStructure: {
      const Structure& s = disc.structures()[d.partner];
      const std::string what = s.label.empty() ? std::string(to_string(s.kind)) : s.label;
      const bool vowel = !what.empty() && std::string_view("aeiou").find(what.front()) != std::string_view::npos;
      return fmt::format("shares sectors {}-{} with {} {}", d.first_lba, d.last_lba, vowel ? "an" : "a", what);
    }
    case Kind::kExtentsTooLong:
      return "its extents hold more bytes than its size; what is beyond the size is left out";
    case Kind::kSizeGuessed:
      return fmt::format("the disc does not record its size; {} is a guess", plural(tree.node(d.node).size, "byte"));
    case Kind::kTooManyPieces:
      return "interleaved into too many pieces to be examined; all of them count as missing";
    case Kind::kGapsMerged:
      return "has more gaps than can be listed; neighbouring gaps are shown as one, with the good bytes between them";
    case Kind::kZisofsNoMagic:
      return "recorded as compressed (zisofs), but no such header stands at its start";
    case Kind::kZisofsHeader:
      return "its compression header (zisofs) says another size or block size than its directory record";
    case Kind::kZisofsTable:
      return "its table of compressed blocks (zisofs) contradicts itself";
    case Kind::kZisofsUnusable:
      return "recorded as compressed (zisofs) in a way that can't be decoded";
  }
  return {};
}

/// What fills a sector, "00" or "DE AD", empty when nothing short does.
std::string fill_of(const Image& image, std::uint64_t lba) {
  std::array<std::uint8_t, kSectorBytes> bytes{};
  std::array<SectorState, 1> state{};
  image.read(lba, bytes, state);
  const unsigned period = uniform_period(bytes);
  if (!has_bytes(state[0]) || period == 0) return {};
  if (period > 8) return fmt::format("a pattern of {} bytes", period);
  return fmt::format("{:02X}", fmt::join(bytes.begin(), bytes.begin() + period, " "));
}

/// Byte address on the disc of a byte of a file, as stored, that is there.
std::uint64_t position_of(const Tree& tree, const Node& n, std::uint64_t offset) {
  for (const Extent& e : tree.extents(n)) {
    if (offset < e.bytes) return e.has_place() ? extent_part_at(e, offset).position : 0;
    offset -= e.bytes;
  }
  return 0;
}

/// What a suspect stretch is, from what stands in it and where in the file it lies.
std::string suspect_words(const Disc& disc, const Node& n, Gap g) {
  const bool whole_sectors = n.has(node_flag::kRawSectors);
  if (whole_sectors) {
    const std::uint64_t behind = stored_begin(g.offset + g.length);
    g.offset = stored_begin(g.offset);
    g.length = behind - g.offset;
  }
  const std::uint64_t first = position_of(disc.tree(), n, g.offset) / kSectorBytes;
  const std::uint64_t last = position_of(disc.tree(), n, g.offset + g.length - 1) / kSectorBytes;
  // The stretch may lie on several extents; then the two LBAs are only its ends.
  const std::uint64_t sectors = (g.length + kSectorBytes - 1) / kSectorBytes;
  const bool together = last >= first && last - first <= sectors;
  const std::uint64_t count = together ? last - first + 1 : sectors;
  const std::string place = together ? lbas(first, last) : fmt::format("from LBA {} to LBA {}", first, last);
  const std::string what = plural(count, "sector");

  const bool may_be_fill = !disc.image().has_map() && !whole_sectors;
  const std::string head_fill = may_be_fill ? fill_of(disc.image(), first) : std::string();
  const std::string tail_fill = head_fill.empty() ? std::string() : fill_of(disc.image(), last);
  if (head_fill.empty() || tail_fill.empty()) return fmt::format("{} suspect, {}", what, place);
  const std::string fill = head_fill == tail_fill ? "filled with " + head_fill : "filled with short patterns";
  const bool at_start = g.offset == 0;
  const bool at_end = g.offset + g.length == n.size;
  constexpr std::string_view kMayBeReal = "may be real, nothing in the image can tell";
  if (at_start && at_end) return fmt::format("all of it, {}, is {}, {}: {}", what, fill, place, kMayBeReal);
  if (at_end) return fmt::format("tail of {} {}, {}: {}", what, fill, place, kMayBeReal);
  if (at_start) return fmt::format("head of {} {}, {}: {}", what, fill, place, kMayBeReal);
  return fmt::format("{} {} between data, {}", what, fill, place);
}

bool before_node(const JudgedDoubt& d, NodeId node) { return d.node < node; }

}  // namespace

bool Verdicts::stays_doubtful(const Disc& disc, NodeId id) const {
  if (disc.tree().has_doubts(id)) return true;
  auto d = std::lower_bound(doubts_.begin(), doubts_.end(), id, before_node);
  while (d != doubts_.end() && d->node == id && d->kind == Kind::kGapsMerged) ++d;
  return d != doubts_.end() && d->node == id;
}

std::vector<std::string> Verdicts::lasting_doubts(const Disc& disc, NodeId id) const {
  std::vector<std::string> texts = disc.tree().doubts(id);
  auto d = std::lower_bound(doubts_.begin(), doubts_.end(), id, before_node);
  for (; d != doubts_.end() && d->node == id; ++d) {
    if (d->kind != Kind::kGapsMerged) texts.push_back(words(disc, *d));
  }
  return texts;
}

std::vector<std::string> Verdicts::doubts(const Disc& disc, NodeId id) const {
  const Tree& tree = disc.tree();
  const Node& n = tree.node(id);
  std::vector<std::string> texts = tree.doubts(id);
  auto d = std::lower_bound(doubts_.begin(), doubts_.end(), id, before_node);
  for (; d != doubts_.end() && d->node == id; ++d) texts.push_back(words(disc, *d));

  const Verdict& v = of(id);
  if (v.suspect_bytes == 0) return texts;
  if (is_compressed(tree, n)) {
    texts.push_back(fmt::format("{} of it rest on compressed blocks (zisofs) that touch suspect sectors",
                                plural(v.suspect_bytes, "byte")));
    return texts;
  }
  std::size_t stretches = 0;
  for (const Gap& g : gaps(v)) {
    if (has_bytes(g.state) && ++stretches <= kStretchesTold) texts.push_back(suspect_words(disc, n, g));
  }
  if (stretches > kStretchesTold) {
    texts.push_back(fmt::format("and {} more suspect", plural(stretches - kStretchesTold, "stretch")));
  }
  return texts;
}

}  // namespace lacuna
