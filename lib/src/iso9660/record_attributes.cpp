// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/record_attributes.h"

#include <algorithm>

#include "iso9660/volume_basis.h"

namespace lacuna::iso9660 {
namespace {

// SUSP sets no bound to a chain of continuation areas. Names and link targets are a few hundred bytes; these bounds
// only keep hostile chains short.
constexpr int kMaxHops = 64;
constexpr std::uint64_t kMaxAreaBytes = 65536;
constexpr std::uint64_t kWindowSectors = 16;
// Of all areas of a volume together, in image sizes: each record may name the same large area again.
constexpr std::uint64_t kAreaBudgetImages = 4;
constexpr std::uint64_t kBudgetFloorBytes = std::uint64_t{16} << 20;

}  // namespace

void RecordAttributes::clear() {
  name.clear();
  symlink.clear();
  posix.reset();
  device.reset();
  child_link.reset();
  relocated = false;
  if (times.recorded != 0 || times.undecodable != 0) times = FileTimes{};
  sparse.reset();
  zisofs.reset();
  xa.reset();
  skip.reset();
  rock_ridge = lost_part = malformed = false;
}

AttributeReader::AttributeReader(const Image& image, std::uint32_t block_bytes, std::int64_t shift_bytes)
    : image_(image),
      block_bytes_(block_bytes),
      shift_bytes_(shift_bytes),
      budget_bytes_(kBudgetFloorBytes + kAreaBudgetImages * (image.end_lba() - image.first_lba()) * kSectorBytes) {}

void AttributeReader::read(Bytes system_use, bool first_record, RecordAttributes& out) {
  out.clear();
  if (system_use.empty()) return;
  out.xa = decode_xa(system_use);
  if (!susp_) return;
  std::optional<Next> next;
  read_entries(SuspReader(system_use, first_record ? 0 : skip_), out, next);
  for (int hops = 0; next; ++hops) {
    const Next area = *next;
    next.reset();
    if (hops == kMaxHops) {
      out.malformed = true;  // a loop, or as good as one
      return;
    }
    read_entries(SuspReader(area_at(area, out)), out, next);
  }
}

void AttributeReader::read_entries(SuspReader reader, RecordAttributes& out, std::optional<Next>& next) {
  while (const auto e = reader.next()) {
    switch (e->signature) {
      case susp_signature("CE"):
        if (const auto ce = decode_ce(*e)) {
          // The position in the area is free, and the area that it names is read after this one (SUSP 5.1).
          next = Next{std::uint64_t{ce->block.value()} * block_bytes_ + static_cast<std::uint64_t>(shift_bytes_) +
                          ce->offset.value(),
                      ce->length.value()};
        }
        break;
      case susp_signature("SP"):
        out.skip = decode_sp(*e);
        break;
      case susp_signature("PX"):
        if (auto px = decode_px(*e)) out.posix = px, out.rock_ridge = true;
        break;
      case susp_signature("PN"):
        out.device = decode_pn(*e);
        break;
      case susp_signature("NM"):
        out.name.add(*e);
        out.rock_ridge = true;
        break;
      case susp_signature("SL"):
        out.symlink.add(*e);
        out.rock_ridge = true;
        break;
      case susp_signature("CL"):
        if (const auto cl = decode_cl(*e)) out.child_link = cl->value(), out.rock_ridge = true;
        break;
      case susp_signature("RE"):
        out.relocated = true;
        break;
      case susp_signature("TF"):
        if (const auto tf = decode_tf(*e)) {
          for (std::size_t i = 0; i < FileTimes::kCount; ++i) {
            if ((tf->recorded >> i & 1) != 0) out.times.stamps[i] = tf->stamps[i];
          }
          out.times.recorded |= tf->recorded;
          out.times.undecodable |= tf->undecodable;
          out.rock_ridge = true;
        }
        break;
      case susp_signature("SF"):
        out.sparse = decode_sf(*e);
        break;
      case susp_signature("ZF"):
      case susp_signature("Z2"):
        out.zisofs = decode_zf(*e);
        break;
      case susp_signature("ER"):
        if (const auto er = decode_er(*e)) out.rock_ridge |= is_rock_ridge(*er);
        break;
      default:
        break;  // other protocols share the area (AAIP, Apple extensions, padding)
    }
  }
  if (reader.stop() == SuspReader::Stop::kBadLength) out.malformed = true;
}

void AttributeReader::note_area(Range area) {
  constexpr std::size_t kFold = 65536;
  areas_.push_back(area);
  if (areas_.size() < fold_at_) return;
  const RangeSet folded = RangeSet::from_unsorted(std::move(areas_));
  areas_.assign(folded.ranges().begin(), folded.ranges().end());
  fold_at_ = areas_.size() + kFold;
}

Bytes AttributeReader::area_at(const Next& area, RecordAttributes& out) {
  if (lies_before_disc(area.position)) {
    out.lost_part = true;
    return {};
  }
  const std::uint64_t bytes = std::min({area.bytes, kMaxAreaBytes, budget_bytes_});
  if (bytes != area.bytes) out.malformed = out.lost_part = true;
  if (bytes == 0) return {};
  budget_bytes_ -= bytes;
  const std::uint64_t end = area.position + bytes;
  if (area.position < window_.position || end > window_.position + window_.bytes.size()) {
    const std::uint64_t first = area.position / kSectorBytes * kSectorBytes;
    window_ = read_stretch(image_, first, std::max(kWindowSectors * kSectorBytes, end - first));
  }
  note_area({area.position, end});
  const std::uint64_t offset = area.position - window_.position;
  if (!window_.readable(offset, bytes)) {
    out.lost_part = true;
    // Entries before the hole are as good as any; zeros end the walk.
    std::uint64_t readable = 0;
    while (readable < bytes && window_.readable(offset, readable + 1)) {
      readable += kSectorBytes - (area.position + readable) % kSectorBytes;
    }
    return window_.from(offset, std::min(readable, bytes));
  }
  return window_.from(offset, bytes);
}

}  // namespace lacuna::iso9660
