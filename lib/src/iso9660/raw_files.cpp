// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/raw_files.h"

#include <algorithm>
#include <optional>

#include "iso9660/decode/xa.h"

namespace lacuna::iso9660 {
namespace {

// Extents are taken apart into at most this many pieces a disc; of files beyond it, only doubt is known.
constexpr std::uint64_t kMostPieces = std::uint64_t{1} << 22;

/// Which forms some sector of a file has; of sectors that can't be read, none is known.
struct FormsMet {
  bool form1 = false, form2 = false, audio = false;
};

class RawFiles {
 public:
  RawFiles(Tree& tree, const RawSectors& raw)
      : tree_(tree),
        plain_(raw.of_form(SectorForm::kForm1).united(raw.of_form(SectorForm::kMode1))),
        form2_(raw.of_form(SectorForm::kForm2)),
        audio_(raw.of_form(SectorForm::kAudio)) {}

  void settle(NodeId id) {
    const Node& n = tree_.node(id);
    if (n.kind != NodeKind::kFile || n.has(node_flag::kUnlocated | node_flag::kRawSectors)) return;
    const std::uint16_t recorded = tree_.details(n).xa_attributes.value_or(0);
    const bool said_audio = (recorded & xa_attribute::kCdAudio) != 0;
    const bool said_form2 = (recorded & (xa_attribute::kForm2 | xa_attribute::kInterleaved)) != 0;
    const std::optional<FormsMet> met = forms_of(n);
    if (!met) {
      if (said_audio || said_form2) tree_.add_doubt(id, "in too many pieces to tell which forms its sectors have");
      return;
    }
    const bool as_audio = said_audio && !met->form2 && !met->form1 && n.size != 0;
    const bool as_form2 = !as_audio && !met->audio && (met->form2 || (said_form2 && !met->form1 && n.size != 0));
    if (as_audio || as_form2) {
      if (fits(n)) {
        RawContent content;
        content.header = as_audio ? RawContent::Header::kWave : RawContent::Header::kCdxa;
        tree_.set_raw_content(id, std::move(content));
        return;
      }
      tree_.add_doubt(id, as_audio ? "lies on audio sectors, but not on whole ones"
                                   : "lies on XA form 2 sectors of 2324 bytes, but not on whole ones; 2048 of each "
                                     "are given");
    } else if (met->audio) {
      tree_.add_doubt(id, "lies on audio sectors, which hold no bytes of files");
    } else if (said_audio) {
      tree_.add_doubt(id, "recorded as CD audio (XA), but its sectors are not audio");
    }
  }

 private:
  /// Nothing when looking would take too long.
  std::optional<FormsMet> forms_of(const Node& n) {
    FormsMet met;
    bool taken = true;
    for (const Extent& e : tree_.extents(n)) {
      for_each_piece(e, [&](std::uint64_t position, std::uint64_t bytes) {
        taken = pieces_++ < kMostPieces;
        if (!taken) return false;
        const Range r{position / kSectorBytes, (position + bytes - 1) / kSectorBytes + 1};
        met.form1 = met.form1 || plain_.intersects(r);
        met.form2 = met.form2 || form2_.intersects(r);
        met.audio = met.audio || audio_.intersects(r);
        return true;
      });
      if (!taken) return std::nullopt;
    }
    return met;
  }

  /// Whole sectors, on places that are known, and of a length that a disc can have.
  bool fits(const Node& n) const {
    if (n.details != 0 && tree_.details(n).zisofs) return false;
    std::uint64_t sectors = 0;
    for (const Extent& e : tree_.extents(n)) {
      if (!e.has_place() || e.position % kSectorBytes != 0 || e.bytes > kMaxSectors * kSectorBytes ||
          e.unit_bytes % kSectorBytes != 0 || e.gap_bytes % kSectorBytes != 0) {
        return false;
      }
      sectors += e.bytes / kSectorBytes + 1;
      if (sectors > kMaxSectors) return false;
    }
    return sectors != 0;
  }

  Tree& tree_;
  const RangeSet plain_;
  const RangeSet& form2_;
  const RangeSet& audio_;
  std::uint64_t pieces_ = 0;
};

}  // namespace

void settle_raw_files(DiscBuilder& builder) {
  const RawSectors* raw = builder.image().raw();
  if (raw == nullptr) return;
  Tree& tree = builder.tree();
  RawFiles files(tree, *raw);
  for (NodeId id = 1; id < tree.size(); ++id) files.settle(id);
}

}  // namespace lacuna::iso9660
