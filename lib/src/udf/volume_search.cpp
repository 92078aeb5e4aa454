// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/volume_search.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <set>

#include "udf/decode/partition_map.h"
#include "udf/decode/recognition.h"

namespace lacuna::udf {
namespace {

constexpr std::array<std::uint32_t, 4> kSectorSizes{2048, 512, 4096, 1024};  // the usual one first
constexpr std::uint64_t kAnchorSector = 256;                                 // 3/8.4.2.1
constexpr std::uint64_t kTailSectors = 1024;  // LBAs: run-out and a wrong idea of the last sector are shorter
constexpr std::uint64_t kScanSectors = 512;   // LBAs a read
// Where volume descriptors stand when nothing leads to them: tools put them before the partition, the copies behind it.
constexpr std::uint64_t kLooseSectors = 2048;

struct FoundAnchor {
  std::uint32_t sector_bytes = 0;
  std::uint64_t position = 0;
  ExtentAd main, reserve;
};

class Search {
 public:
  Search(ByteReader& reader, const VolumeSearch& search, Findings& findings)
      : reader_(reader), search_(search), findings_(findings), first_lba_(reader.image().first_lba()) {}

  Result<std::vector<FoundVolume>> run() {
    look_at_usual_places();
    look_through_tail();
    group();
    if (volumes_.empty()) gather_loose();
    if (std::any_of(volumes_.begin(), volumes_.end(), has_virtual)) {
      if (!look_everywhere()) return Error{ErrorCode::kCancelled, "cancelled while looking for sessions"};
      group();
    }
    drop_stale();
    for (FoundVolume& v : volumes_) v.nsr = recognise(v.start_lba, v.descriptors.sector_bytes);
    tell_of_shift();
    return std::move(volumes_);
  }

 private:
  static bool has_virtual(const FoundVolume& v) {
    for (const Found<LogicalVolume>& lv : v.descriptors.logical) {
      PartitionMapReader maps(lv.descriptor.maps, lv.descriptor.map_count);
      while (const auto m = maps.next()) {
        if (m->kind == PartitionMapKind::kVirtual) return true;
      }
    }
    return false;
  }

  // ---- anchors

  void look_at_usual_places() {
    for (const std::uint32_t bytes : kSectorSizes) {
      const std::uint64_t count = reader_.end_byte() / bytes;
      for (const std::uint64_t sector : {kAnchorSector, std::uint64_t{512}}) look_at(sector * bytes, bytes);
      if (count > kAnchorSector) {
        look_at((count - 1) * bytes, bytes);
        look_at((count - 1 - kAnchorSector) * bytes, bytes);
      }
      for (const std::uint64_t start : search_.session_starts) {
        look_at(start * kSectorBytes + kAnchorSector * bytes, bytes);
      }
    }
  }

  /// An image that lacks some sectors at the end, or has some too many, has its last anchors somewhere near it.
  void look_through_tail() {
    const std::uint64_t end = reader_.end_byte() / kSectorBytes * kSectorBytes + kSectorBytes;
    const std::uint64_t first = std::max(first_lba_ * kSectorBytes, end - std::min(end, kTailSectors * kSectorBytes));
    for (std::uint64_t at = first; at < reader_.end_byte(); at += 512) look_at_any(at);
  }

  void look_at_any(std::uint64_t position) {
    SectorState state;
    const Bytes b = reader_.view(position, 512, state);
    if (!has_bytes(state) || le16(b, 0) != tag_id::kAnchor) return;
    const TagCheck check = check_tag(b, {}, 32);
    if (!check.consistent()) return;
    for (const std::uint32_t bytes : kSectorSizes) {
      if (std::uint64_t{check.tag.location} * bytes == position) return look_at(position, bytes);
    }
    displaced_.emplace_back(position, check.tag.location);
  }

  void look_at(std::uint64_t position, std::uint32_t sector_bytes) {
    if (position % sector_bytes != 0 || !looked_.insert({position, sector_bytes}).second) return;
    SectorState state;
    const Bytes b = reader_.view(position, 512, state);
    if (!has_bytes(state) || le16(b, 0) != tag_id::kAnchor) return;
    const auto anchor = decode_anchor(b);
    if (!anchor) return;
    const TagCheck check = check_tag(b, static_cast<std::uint32_t>(position / sector_bytes), anchor->bytes);
    if (!check.consistent()) {
      // In another sector size the same place has another number: no damage.
      if ((check.problems & tag_problem::kLocation) == 0) {
        findings_.add({Severity::kDoubt, "anchor", "anchor volume descriptor pointer", position / kSectorBytes,
                       "ECMA-167 3/10.2", "an anchor does not count: " + describe(check)});
      }
      return;
    }
    anchors_.push_back({sector_bytes, position, anchor->main, anchor->reserve});
  }

  // ---- sessions

  /// The session that an anchor belongs to starts 256 sectors before the first anchor of it (UDF 6.10.3); one that
  /// stands there also stands for those elsewhere that lead to the same sequences.
  void group() {
    std::map<std::array<std::uint64_t, 3>, std::vector<FoundAnchor>> by_sequences;
    for (const FoundAnchor& a : anchors_) by_sequences[{a.sector_bytes, a.main.sector, a.reserve.sector}].push_back(a);
    for (auto& [key, anchors] : by_sequences) {
      if (!grouped_.insert(key).second) continue;
      std::sort(anchors.begin(), anchors.end(), [](const auto& a, const auto& b) { return a.position < b.position; });
      add_volume(anchors);
    }
  }

  void add_volume(const std::vector<FoundAnchor>& anchors) {
    const FoundAnchor& a = anchors.front();
    FoundVolume v;
    v.anchors = static_cast<std::uint32_t>(anchors.size());
    v.descriptors =
        read_sequences(reader_, a.sector_bytes,
                       {{std::uint64_t{a.main.sector} * a.sector_bytes, a.main.length_bytes, "main"},
                        {std::uint64_t{a.reserve.sector} * a.sector_bytes, a.reserve.length_bytes, "reserve"}},
                       findings_);
    for (const FoundAnchor& anchor : anchors) {
      v.descriptors.structures.push_back({StructureKind::kAnchor, View::kUdf, anchor.position, anchor.sector_bytes,
                                          kNoNode, "anchor volume descriptor pointer"});
    }
    if (v.descriptors.logical.empty() || v.descriptors.partitions.empty()) {
      findings_.add({Severity::kLoss, "volume-descriptors", "volume descriptor sequences", a.position / kSectorBytes,
                     "ECMA-167 3/8.4",
                     "an anchor leads to sequences without a logical volume or partition descriptor that counts"});
      return;
    }
    set_start(v, anchors);
    volumes_.push_back(std::move(v));
  }

  void set_start(FoundVolume& v, const std::vector<FoundAnchor>& anchors) {
    // Volume structures stand within the session; the anchors that were met first may be those of its end.
    const std::uint32_t bytes = v.descriptors.sector_bytes;
    std::uint64_t before = ~std::uint64_t{0};
    for (const Structure& s : v.descriptors.structures) before = std::min(before, s.position);
    for (const std::uint64_t start : search_.session_starts) {
      if (start * kSectorBytes <= before && start >= v.start_lba) v.start_lba = start;
    }
    const std::uint64_t anchor = anchors.front().position;
    // Only the session's own first anchor has the sequences behind the start that it implies.
    if (v.start_lba == 0 && anchor != 2 * kAnchorSector * bytes && anchor >= kAnchorSector * bytes &&
        anchor - kAnchorSector * bytes <= before) {
      v.start_lba = (anchor - kAnchorSector * bytes) / kSectorBytes;
    }
    v.source = v.start_lba == 0 ? SessionSource::kFirst : SessionSource::kFound;
    if (std::find(search_.session_starts.begin(), search_.session_starts.end(), v.start_lba) !=
            search_.session_starts.end() &&
        v.start_lba != 0) {
      v.source = SessionSource::kGiven;
    }
  }

  /// Of several volumes that start at one sector, such as what an older formatting left at the end, the one with most
  /// anchors counts.
  void drop_stale() {
    std::stable_sort(volumes_.begin(), volumes_.end(), [](const FoundVolume& a, const FoundVolume& b) {
      return a.start_lba != b.start_lba ? a.start_lba < b.start_lba : a.anchors > b.anchors;
    });
    for (std::size_t i = 1; i < volumes_.size();) {
      if (volumes_[i].start_lba != volumes_[i - 1].start_lba) {
        ++i;
        continue;
      }
      findings_.add({Severity::kDoubt, "second-volume", "anchor volume descriptor pointer",
                     volumes_[i].descriptors.logical.front().position / kSectorBytes, "ECMA-167 3/8.4.2.1",
                     "anchors lead to a second volume on the same sectors; the one with most anchors is read"});
      volumes_.erase(volumes_.begin() + static_cast<std::ptrdiff_t>(i));
    }
  }

  bool look_everywhere() {
    std::vector<std::uint8_t> sectors(kScanSectors * kSectorBytes);
    std::vector<SectorState> states(kScanSectors);
    const std::uint64_t end = reader_.end_byte() / kSectorBytes;
    for (std::uint64_t lba = first_lba_; lba < end; lba += kScanSectors) {
      const auto count = static_cast<std::size_t>(std::min(kScanSectors, end - lba));
      reader_.image().read(lba, std::span(sectors).first(count * kSectorBytes), std::span(states).first(count));
      for (std::size_t i = 0; i < count; ++i) {
        const Bytes sector = Bytes(sectors).subspan(i * kSectorBytes, kSectorBytes);
        if (has_bytes(states[i]) && le16(sector, 0) == tag_id::kAnchor) look_at_any((lba + i) * kSectorBytes);
      }
      if (search_.progress && !search_.progress({"looking for sessions", (lba - first_lba_) * kSectorBytes,
                                                 (end - first_lba_) * kSectorBytes})) {
        return false;
      }
    }
    return true;
  }

  // ---- without anchors

  void gather_loose() {
    const std::uint64_t end = reader_.end_byte();
    const std::uint64_t first = first_lba_ * kSectorBytes;
    const std::uint64_t head = std::min(end, first + kLooseSectors * kSectorBytes);
    const std::uint64_t tail = std::max(head, end - std::min(end, kLooseSectors * kSectorBytes));
    for (const std::uint32_t bytes : kSectorSizes) {
      for (const auto& [from, to] : {std::pair{first, head}, std::pair{tail, end}}) {
        FoundVolume v;
        v.descriptors = gather_descriptors(reader_, bytes, from, to, findings_);
        if (v.descriptors.logical.empty() || v.descriptors.partitions.empty()) continue;
        findings_.add({Severity::kDoubt, "anchors-lost", "anchor volume descriptor pointer", std::nullopt,
                       "ECMA-167 3/8.4.2.1",
                       fmt::format("no anchor could be read; {} volume descriptors were found by looking for them",
                                   v.descriptors.proven)});
        volumes_.push_back(std::move(v));
        return;
      }
    }
  }

  /// 2/8.3, counted from the start of the session.
  int recognise(std::uint64_t start_lba, std::uint32_t sector_bytes) {
    const std::uint64_t step = std::max<std::uint64_t>(kVolumeStructureBytes, sector_bytes);
    int nsr = 0;
    for (int i = 0; i < 64; ++i) {
      SectorState state;
      const Bytes b = reader_.view(
          start_lba * kSectorBytes + kRecognitionStartByte + static_cast<std::uint64_t>(i) * step, 64, state);
      if (!has_bytes(state)) continue;
      const auto structure = decode_volume_structure(b);
      if (!structure || structure->kind == VolumeStructureKind::kTerminating) break;
      if (structure->kind == VolumeStructureKind::kNsr02) nsr = 2;
      if (structure->kind == VolumeStructureKind::kNsr03) nsr = 3;
    }
    return nsr;
  }

  void tell_of_shift() {
    if (!volumes_.empty() || displaced_.empty()) return;
    const auto& [position, location] = displaced_.back();
    findings_.add({Severity::kLoss, "anchor-displaced", "anchor volume descriptor pointer", position / kSectorBytes,
                   "ECMA-167 3/7.2.8",
                   fmt::format("an anchor says that it stands at sector {}: the image seems to start late or to lack "
                               "sectors; say where it starts (--starts-at)",
                               location)});
  }

  ByteReader& reader_;
  const VolumeSearch& search_;
  Findings& findings_;
  std::uint64_t first_lba_;
  std::set<std::pair<std::uint64_t, std::uint32_t>> looked_;
  std::vector<FoundAnchor> anchors_;
  std::vector<std::pair<std::uint64_t, std::uint32_t>> displaced_;
  std::set<std::array<std::uint64_t, 3>> grouped_;
  std::vector<FoundVolume> volumes_;
};

}  // namespace

Result<std::vector<FoundVolume>> find_volumes(ByteReader& reader, const VolumeSearch& search, Findings& findings) {
  return Search(reader, search, findings).run();
}

}  // namespace lacuna::udf
