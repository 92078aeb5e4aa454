// SPDX-License-Identifier: GPL-3.0-or-later
#include "disc/audio_tracks.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

namespace lacuna {
namespace {

/// What of a track can lie on a disc.
Range lbas_of(const Track& t) {
  const std::uint64_t first = std::min(t.first_lba, kMaxSectors);
  return {first, first + std::min(t.sectors, kMaxSectors - first)};
}

/// Sectors that say that they hold data.
RangeSet data_sectors(const RawSectors& raw) {
  RangeSet all;
  for (const SectorForm form : {SectorForm::kMode1, SectorForm::kMode2, SectorForm::kForm1, SectorForm::kForm2}) {
    all = all.united(raw.of_form(form));
  }
  return all;
}

}  // namespace

std::size_t add_audio_tracks(DiscBuilder& builder) {
  const RawSectors* raw = builder.image().raw();
  if (raw == nullptr) return 0;
  Tree& tree = builder.tree();
  const View view = tree.node(kRoot).view;
  const RangeSet data = data_sectors(*raw);
  NodeId folder = kNoNode;
  std::size_t added = 0;
  for (const Track& t : raw->tracks()) {
    if (!t.audio) continue;
    const Range lbas = lbas_of(t);
    if (lbas.length() == 0) {
      builder.findings().add({Severity::kNote, "track-empty", fmt::format("track {}", t.number), t.first_lba, "",
                              "the layout gives the audio track no sectors; it is not listed"});
      continue;
    }
    if (folder == kNoNode) {
      Node n;
      n.kind = NodeKind::kDirectory;
      n.view = view;
      n.names[static_cast<std::size_t>(view)] = tree.add_text("_audio");
      folder = tree.add_child(kRoot, n);
    }
    Node n;
    n.view = view;
    n.names[static_cast<std::size_t>(view)] = tree.add_text(fmt::format("track-{:02}.wav", t.number));
    const NodeId id = tree.add_child(folder, n);
    tree.add_extents(id, std::array{Extent{lbas.first * kSectorBytes, lbas.length() * kSectorBytes}});
    tree.set_raw_content(id, {RawContent::Header::kWave, t.number, t.title, t.performer});
    if (t.guessed) tree.add_doubt(id, "no layout names this track: where it begins and ends is by the sectors' looks");
    if (const RangeSet odd = data.intersected(RangeSet::from_unsorted({lbas})); !odd.empty()) {
      tree.add_doubt(id, fmt::format("{} of its sectors look like data, the first at LBA {}", odd.total(),
                                     odd.ranges().front().first));
    }
    ++added;
  }
  return added;
}

RangeSet audio_sectors(const Image& image) {
  const RawSectors* raw = image.raw();
  if (raw == nullptr) return {};
  std::vector<Range> ranges;
  for (const Track& t : raw->tracks()) {
    if (!t.audio) continue;
    const Range lbas = lbas_of(t);
    ranges.push_back({lbas.first - std::min(lbas.first, t.pregap_sectors), lbas.end});
  }
  return RangeSet::from_unsorted(std::move(ranges)).minus(data_sectors(*raw)).united(raw->of_form(SectorForm::kAudio));
}

}  // namespace lacuna
