// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/entry_reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "udf/decode/allocation.h"

namespace lacuna::udf {
namespace {

constexpr std::uint32_t kMaxIcbBlocks = 64;      // of one ICB extent; strategy 4096 has 2
constexpr std::size_t kMaxChain = 65536;         // indirect entries of one file
constexpr std::uint64_t kChainBudget = 1 << 20;  // blocks, besides what the image's size allows

std::string_view state_phrase(SectorState s) { return to_string(s); }

}  // namespace

EntryReader::EntryReader(ByteReader& reader, const Partitions& partitions)
    : reader_(reader),
      partitions_(partitions),
      chain_budget_(kChainBudget + reader.end_byte() / partitions.block_bytes()) {}

std::optional<Entry> EntryReader::read_copy(LbAddr address, std::uint64_t position, NoEntry& why_not) {
  const std::uint32_t block_bytes = partitions_.block_bytes();
  SectorState state;
  const Bytes view = reader_.view(position, block_bytes, state);
  why_not.position = position;
  if (!has_bytes(state)) {
    why_not.why = fmt::format("its sector is {}", state_phrase(state));
    return {};
  }
  const auto decoded = decode_file_entry(view);
  if (!decoded) {
    const TagCheck check = check_tag(view, address.block);
    why_not.why = (check.problems & tag_problem::kBlank) != 0
                      ? "nothing is recorded where it should stand"
                      : fmt::format("what stands there is no file entry ({})", tag_name(check.tag.identifier));
    return {};
  }
  const TagCheck check = check_tag(view, address.block, decoded->bytes);
  using namespace tag_problem;
  if ((check.problems & (kTooShort | kChecksum | kLocation)) != 0 ||
      (decoded->problems & (entry_problem::kAttributesBeyond | entry_problem::kAllocationBeyond)) != 0) {
    why_not.why =
        "its file entry does not count: " + (check.problems != 0 ? describe(check) : "its lengths run over the block");
    return {};
  }
  Entry e;
  e.block.assign(view.begin(), view.end());
  e.entry = *decode_file_entry(e.block);
  e.address = address;
  e.position = position;
  e.suspect = state == SectorState::kSuspect;
  if ((check.problems & (kCrc | kCrcBeyond)) != 0) {
    e.doubts.push_back("its file entry fails its CRC");
  } else if ((check.problems & (kCrcNone | kCrcShort)) != 0 && !reader_.image().has_map()) {
    e.doubts.push_back("its file entry is not covered by a CRC");
  }
  return e;
}

std::optional<Entry> EntryReader::read_block(LbAddr address, NoEntry& why_not) {
  std::optional<Entry> best;
  why_not = {};
  for (int copy = 0; copy < partitions_.copies(address.partition); ++copy) {
    const auto position = partitions_.position_of(address, copy);
    NoEntry why;
    if (!position) {
      why.why = "where its file entry lies is not known";
    } else if (auto e = read_copy(address, *position, why)) {
      if (e->doubts.empty()) return e;
      if (!best) best = std::move(e);
      continue;
    }
    if (why_not.why.empty()) why_not = why;
  }
  return best;
}

std::optional<Entry> EntryReader::read(const LongAd& icb, NoEntry& why_not) {
  const LbAddr first = icb.location;
  auto entry = read_block(first, why_not);
  if (entry && entry->entry.icb.strategy == 4) {
    structures_.push_back({StructureKind::kFileEntry, View::kUdf, entry->position, entry->entry.bytes, kNoNode, {}});
    return entry;
  }
  if (!entry && icb.length_bytes <= partitions_.block_bytes()) {
    if (why_not.position) {
      structures_.push_back(
          {StructureKind::kFileEntry, View::kUdf, *why_not.position, partitions_.block_bytes(), kNoNode, {}});
    }
    return {};
  }
  // Strategy 4096, or an ICB of several blocks whose first is lost: what follows may still count.
  return follow_chain(icb, why_not);
}

/// ECMA-167 4/8.10.1 and annex A of UDF's strategy 4096: each ICB extent holds a direct entry and an indirect one that
/// leads to the next extent; the last direct entry is the file's state.
std::optional<Entry> EntryReader::follow_chain(const LongAd& icb, NoEntry& why_not) {
  const std::uint32_t block_bytes = partitions_.block_bytes();
  std::optional<Entry> newest;
  std::string lost;  // why something newer than `newest` may be lost
  std::set<std::uint64_t> seen;
  LongAd at = icb;
  for (std::size_t hop = 0;; ++hop) {
    const std::uint32_t blocks = std::clamp<std::uint32_t>(at.length_bytes / block_bytes, 1, kMaxIcbBlocks);
    const std::uint64_t key = std::uint64_t{at.location.partition} << 32 | at.location.block;
    if (hop == kMaxChain || !seen.insert(key).second || chain_budget_ < blocks) {
      lost = "its chain of indirect entries does not end";
      break;
    }
    chain_budget_ -= blocks;
    std::optional<LongAd> next;
    for (std::uint32_t i = 0; i < blocks; ++i) {
      const LbAddr address{at.location.block + i, at.location.partition};
      const auto position = partitions_.position_of(address);
      if (!position) {
        lost = "part of its ICB has no place that is known";
        break;
      }
      structures_.push_back({StructureKind::kFileEntry, View::kUdf, *position, block_bytes, kNoNode, {}});
      SectorState state;
      const Bytes view = reader_.view(*position, block_bytes, state);
      if (!has_bytes(state)) {
        lost = fmt::format("part of its ICB is {} (LBA {})", state_phrase(state), *position / kSectorBytes);
        continue;
      }
      const TagCheck check = check_tag(view, address.block);
      if ((check.problems & tag_problem::kBlank) != 0) {  // not recorded yet: the end
        // Or a sector that was left out of the image: only a map tells them apart.
        if (reader_.image().has_map()) break;
        lost = "zeros stand where its chain of entries may go on";
        continue;
      }
      if (check.tag.identifier == tag_id::kTerminalEntry && check.proven()) break;
      if (const auto indirect = decode_indirect_entry(view)) {
        if (check_tag(view, address.block, indirect->bytes).proven()) {
          if (!indirect->next.none()) next = indirect->next;
        } else {
          lost = "an indirect entry of its ICB does not count";
        }
        continue;
      }
      NoEntry why;
      if (auto entry = read_copy(address, *position, why)) {
        newest = std::move(entry);
        lost.clear();
      } else {
        lost = why.why;
        why_not = why;
      }
    }
    if (!next) break;
    at = *next;
  }
  if (!newest) {
    if (why_not.why.empty()) why_not.why = lost.empty() ? "its ICB holds no file entry" : lost;
    return {};
  }
  if (!lost.empty()) newest->doubts.push_back("a newer state of it may be lost: " + lost);
  return newest;
}

// ---- content

Content EntryReader::content(const Entry& e, std::uint64_t limit) {
  Content c;
  const FileEntry& entry = e.entry;
  c.bytes = entry.information_length;
  if (entry.icb.form() == AllocationForm::kEmbedded) {
    c.embedded = true;
    c.embedded_position = e.position + entry.allocation_offset;
    if (entry.allocation.size() < c.bytes) {
      c.cut = true;
      c.doubts.push_back("its file entry holds less content than it says");
    }
    return c;
  }
  limit = std::min(limit, c.bytes);
  std::uint64_t done = 0;
  std::optional<ContentPiece> next;
  Bytes area = entry.allocation;
  std::vector<std::uint8_t> block;
  std::set<std::uint64_t> seen;
  std::string why;
  while (take_descriptors(area, entry.icb.form(), e.address.partition, limit, c, done, next) && next) {
    const std::uint64_t key = std::uint64_t{next->block.partition} << 32 | next->block.block;
    if (!seen.insert(key).second || chain_budget_ == 0) {
      why = "its chain of allocation extents does not end";
      break;
    }
    --chain_budget_;
    area = read_allocation_extent(next->block, next->bytes, block, c, why);
    if (!why.empty()) break;
  }
  if (done < limit) {
    c.cut = true;
    // 4/12.1: an extent list that is short of the information length leaves the rest nowhere.
    c.doubts.push_back(why.empty() ? "its allocation descriptors hold less than its length" : why);
  }
  return c;
}

/// Takes descriptors until the limit is reached or the area ends; `next` is where more of them are. Gives false when
/// there is no more to do.
bool EntryReader::take_descriptors(Bytes area, AllocationForm form, std::uint16_t partition, std::uint64_t limit,
                                   Content& c, std::uint64_t& done, std::optional<ContentPiece>& next) {
  next.reset();
  AllocationReader descriptors(area, form);
  while (done < limit) {
    const auto d = descriptors.next();
    if (!d) break;
    const LbAddr block{d->block, d->partition.value_or(partition)};
    if (d->type == ExtentType::kContinued) {
      next = {d->type, block, d->length_bytes};
      break;
    }
    // Extended descriptors may hold less information than bytes (4/14.14.3); UDF demands that they agree.
    std::uint64_t recorded = d->type == ExtentType::kRecorded ? std::min(d->recorded_bytes, d->length_bytes) : 0;
    if (d->type == ExtentType::kRecorded && d->information_bytes != d->recorded_bytes) {
      c.doubts.push_back("an extent of it is recorded in a form that UDF does not have");
    }
    recorded = std::min(recorded, limit - done);
    if (recorded != 0) c.pieces.push_back({ExtentType::kRecorded, block, recorded});
    const std::uint64_t unrecorded =
        std::min(d->length_bytes - (d->type == ExtentType::kRecorded ? d->recorded_bytes : 0),
                 static_cast<std::uint32_t>(std::min<std::uint64_t>(limit - done - recorded, kMaxExtentBytes)));
    if (unrecorded != 0) {
      if (!c.pieces.empty() && c.pieces.back().type != ExtentType::kRecorded) {
        c.pieces.back().bytes += unrecorded;
      } else {
        c.pieces.push_back({ExtentType::kUnrecorded, {}, unrecorded});
      }
    }
    done += recorded + unrecorded;
  }
  return done < limit && next.has_value();
}

Bytes EntryReader::read_allocation_extent(LbAddr address, std::uint64_t bytes, std::vector<std::uint8_t>& block,
                                          Content& c, std::string& why) {
  const std::uint32_t block_bytes = partitions_.block_bytes();
  // 4/12: one extent; UDF 2.3.11: one block.
  const std::uint64_t length =
      std::clamp<std::uint64_t>(bytes, block_bytes, std::uint64_t{kMaxIcbBlocks} * block_bytes);
  for (int copy = 0; copy < partitions_.copies(address.partition); ++copy) {
    const auto position = partitions_.position_of(address, copy);
    if (!position) {
      if (why.empty()) why = "an allocation extent of it has no place that is known";
      continue;
    }
    structures_.push_back({StructureKind::kAllocationExtent, View::kUdf, *position, block_bytes, kNoNode, {}});
    block.resize(static_cast<std::size_t>(length));
    // Views of the reader end with its slot; an extent of several blocks is read as it lies.
    const SectorState state = reader_.read(*position, std::span(block).first(block_bytes));
    std::string reason;
    if (!has_bytes(state)) {
      reason = fmt::format("its sector is {}", state_phrase(state));
    } else {
      if (length > block_bytes) {
        static_cast<void>(reader_.read(*position + block_bytes, std::span(block).subspan(block_bytes)));
      }
      const auto aed = decode_allocation_extent(block);
      const TagCheck check = check_tag(block, address.block, aed ? aed->bytes : kTagBytes);
      if (!aed) {
        reason = fmt::format("it is none ({})", tag_name(check.tag.identifier));
      } else if ((check.problems & (tag_problem::kChecksum | tag_problem::kLocation | tag_problem::kCrc |
                                    tag_problem::kCrcBeyond)) != 0 ||
                 aed->cut) {
        reason = aed->cut ? "it is cut" : describe(check);
      } else {
        // UDF 2.3.11: the CRC may cover only the header; where a map says that the sector was read, that is enough.
        if (!check.proven() && !reader_.image().has_map()) {
          c.doubts.push_back("an allocation extent of it is not covered by a CRC");
        }
        why.clear();
        return aed->allocation;
      }
    }
    why = fmt::format("an allocation extent of it at LBA {} does not count: {}", *position / kSectorBytes, reason);
  }
  return {};
}

std::vector<Extent> EntryReader::extents(const Content& c) const {
  std::vector<Extent> out;
  if (c.embedded) {
    if (c.bytes != 0) out.push_back({c.embedded_position, c.bytes, 0, 0});
    return out;
  }
  for (const ContentPiece& p : c.pieces) {
    if (p.type == ExtentType::kRecorded) {
      if (!partitions_.locate(p.block, p.bytes, out)) break;
    } else if (!out.empty() && out.back().position == kZeros) {
      out.back().bytes += p.bytes;
    } else {
      out.push_back({kZeros, p.bytes, 0, 0});
    }
  }
  return out;
}

std::vector<std::uint8_t> EntryReader::read_content(const Content& c, std::uint64_t limit, RangeSet& missing,
                                                    bool& suspect, int first_copy) {
  const std::uint64_t size = std::min(c.bytes, limit);
  const std::uint32_t block_bytes = partitions_.block_bytes();
  std::vector<std::uint8_t> out;
  const auto take = [&](std::uint64_t position, std::uint64_t bytes) {
    const std::uint64_t from = out.size();
    out.resize(static_cast<std::size_t>(from + bytes));
    const SectorState state = reader_.read(position, std::span(out).subspan(static_cast<std::size_t>(from)));
    suspect = suspect || state == SectorState::kSuspect;
    return has_bytes(state);
  };
  if (c.embedded) {
    if (!take(c.embedded_position, size)) missing.add({0, size});
    return out;
  }
  for (const ContentPiece& p : c.pieces) {
    if (out.size() >= size) break;
    std::uint64_t left = std::min(p.bytes, size - out.size());
    if (p.type != ExtentType::kRecorded) {
      out.resize(static_cast<std::size_t>(out.size() + left));
      continue;
    }
    LbAddr at = p.block;
    for (; left != 0; ++at.block) {
      const std::uint64_t bytes = std::min<std::uint64_t>(left, block_bytes);
      const std::uint64_t from = out.size();
      bool got = false;
      const int copies = partitions_.copies(at.partition);
      for (int i = 0; i < copies && !got; ++i) {
        const auto position = partitions_.position_of(at, (first_copy + i) % copies);
        if (!position) continue;
        out.resize(static_cast<std::size_t>(from));
        got = take(*position, bytes);
      }
      out.resize(static_cast<std::size_t>(from + bytes));
      if (!got) missing.add({from, from + bytes});
      left -= bytes;
    }
  }
  if (out.size() < size) missing.add({out.size(), size});  // told, not made: hostile lengths cost nothing
  return out;
}

}  // namespace lacuna::udf
