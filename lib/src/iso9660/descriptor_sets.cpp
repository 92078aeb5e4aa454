// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/descriptor_sets.h"

#include <algorithm>
#include <array>

#include "iso9660/decode/directory_record.h"
#include "iso9660/path_tables.h"

namespace lacuna::iso9660 {
namespace {

// A set has a handful of descriptors; more than this is an attack. Sectors within a set that are no descriptors (or
// can't be read) are passed over, but not many: what follows a set that lost its terminator is something else.
constexpr std::uint64_t kMaxSetSectors = 64;
constexpr std::uint64_t kMaxStrangers = 8;

bool is_known_type(std::uint8_t type) {
  return type <= descriptor_type::kPartition || type == descriptor_type::kSetTerminator;
}

DescriptorSet read_set(const Image& image, std::uint64_t start_lba, SessionSource source, Findings& findings) {
  DescriptorSet set{start_lba, source, {}, true};
  std::vector<std::uint8_t> sectors(kMaxSetSectors * kSectorBytes);
  std::vector<SectorState> states(kMaxSetSectors);
  const std::uint64_t first = start_lba + kSystemAreaSectors;
  image.read(first, sectors, states);
  RangeSet lost, strange;
  std::uint64_t strangers = 0;
  for (std::uint64_t i = 0; i < kMaxSetSectors && strangers < kMaxStrangers; ++i) {
    if (!has_bytes(states[i])) {
      lost.add({first + i, first + i + 1});
      ++strangers;
      continue;
    }
    const Bytes sector = Bytes(sectors).subspan(i * kSectorBytes, kSectorBytes);
    const auto header = decode_descriptor_header(sector);
    if (!header || !is_known_type(header->type)) {
      strange.add({first + i, first + i + 1});
      ++strangers;
      continue;
    }
    strangers = 0;
    if (header->type == descriptor_type::kSetTerminator) {
      set.descriptors.push_back({first + i, *header, states[i], {sector.begin(), sector.end()}});
      break;
    }
    set.descriptors.push_back({first + i, *header, states[i], {sector.begin(), sector.end()}});
  }
  if (set.descriptors.empty()) return set;
  const std::uint64_t last = set.descriptors.back().lba;
  // Every set has a primary descriptor and a terminator (6.7.1).
  set.incomplete = set.descriptors.back().header.type != descriptor_type::kSetTerminator ||
                   std::ranges::none_of(set.descriptors, [](const FoundDescriptor& f) {
                     return f.header.type == descriptor_type::kPrimary;
                   });
  for (const Range& r : lost.ranges()) {
    if (r.first > last) break;
    set.incomplete = true;
    findings.add({Severity::kLoss, "descriptor-unreadable", "volume descriptor set", r.first, "ECMA-119 6.7.1",
                  "sectors of the volume descriptor set can't be read; a view of the volume may be missing"});
  }
  for (const Range& r : strange.ranges()) {
    if (r.first > last) break;
    set.incomplete = true;
    findings.add({Severity::kLoss, "descriptor-garbled", "volume descriptor set", r.first, "ECMA-119 6.7.1",
                  "what stands among the volume descriptors is none; a view of the volume may be missing"});
  }
  if (lost.empty() && strange.empty() && set.descriptors.front().header.type != descriptor_type::kPrimary &&
      set.descriptors.front().header.type != descriptor_type::kBootRecord) {
    findings.add({Severity::kLoss, "no-primary", "volume descriptor set", first, "ECMA-119 6.7.1.1",
                  "the volume descriptor set does not begin with a primary descriptor; what stood there may be lost"});
  }
  if (set.descriptors.back().header.type != descriptor_type::kSetTerminator) {
    findings.add({Severity::kNote, "no-terminator", "volume descriptor set", last, "ECMA-119 8.3",
                  "the volume descriptor set has no readable terminator"});
  }
  return set;
}

/// Whether something says that a volume's lost root directory was where its descriptor says.
bool root_confirmed(const Image& image, const SetSearch& search, const VolumeBasis& volume) {
  if (search.frames == nullptr) return false;
  const std::uint64_t position = root_position(volume);
  if (search.frame != nullptr && search.frame->names_as_parent(position)) return true;
  return !PathTables(image, volume, nullptr).directories().empty();
}

enum class Root {
  kStands,     // where a descriptor says, or something confirms that it did
  kLost,       // nothing like a directory stands there
  kElsewhere,  // another directory stands there, or it is a place that can't be
};

Root find_root(const Image& image, const SetSearch& search, const DescriptorSet& set) {
  Root found = Root::kElsewhere;
  std::array<std::uint8_t, kSectorBytes> sector;
  std::array<SectorState, 1> state;
  for (const FoundDescriptor& f : set.descriptors) {
    const auto d = decode_volume_descriptor(f.sector);
    if (!d) continue;
    const VolumeBasis volume = basis_of(*d, search.frame == nullptr ? 0 : search.frame->shift_bytes);
    const std::uint64_t position = root_position(volume);
    // A session's directories are written behind its descriptors. An image stored as a file counts from its own start,
    // so its root points to before it, where the disc's own root may well stand.
    if (position / kSectorBytes <= f.lba || !volume.root) continue;
    image.read(position / kSectorBytes, sector, state);
    const auto self =
        has_bytes(state[0]) ? decode_directory_record(Bytes(sector).subspan(position % kSectorBytes)) : std::nullopt;
    if (self && self->is_self()) {
      if (self->plausible() && self->extent.value() == volume.root->extent.value()) return Root::kStands;
    } else if (root_confirmed(image, search, volume)) {
      return Root::kStands;
    } else {
      found = Root::kLost;
    }
  }
  return found;
}

enum class Scan { kFound, kNothing, kCancelled };

/// Looks for descriptors, sector by sector. Keeps what it read: hostile images hold one in every sector.
class DescriptorSearch {
 public:
  DescriptorSearch(const Image& image, const ProgressCallback& progress)
      : image_(image), progress_(progress), sectors_(kChunkSectors * kSectorBytes), states_(kChunkSectors) {}

  /// The first sector of [from, end) that holds a primary or supplementary descriptor.
  Scan next(std::uint64_t from, std::uint64_t end, std::uint64_t& found) {
    for (std::uint64_t at = from; at < end; ++at) {
      if (at - first_ >= kChunkSectors) {
        image_.read(at, sectors_, states_);
        first_ = at;
        if (progress_ &&
            !progress_({"looking for sessions", (at - from) * kSectorBytes, (end - from) * kSectorBytes})) {
          return Scan::kCancelled;
        }
      }
      const std::uint64_t i = at - first_;
      if (!has_bytes(states_[i])) continue;
      const auto header = decode_descriptor_header(Bytes(sectors_).subspan(i * kSectorBytes, kSectorBytes));
      if (!header) continue;
      if (header->type == descriptor_type::kPrimary || header->type == descriptor_type::kSupplementary) {
        found = at;
        return Scan::kFound;
      }
    }
    return Scan::kNothing;
  }

 private:
  static constexpr std::uint64_t kChunkSectors = 512;

  const Image& image_;
  const ProgressCallback& progress_;
  std::vector<std::uint8_t> sectors_;
  std::vector<SectorState> states_;
  std::uint64_t first_ = ~std::uint64_t{0} - kChunkSectors;  // of what was read last
};

/// The same, among those that were found by looking at everything.
Scan next_found(const Remains& remains, std::uint64_t from, std::uint64_t& found) {
  const auto& all = remains.descriptors();
  auto d = std::lower_bound(all.begin(), all.end(), from * kSectorBytes,
                            [](const FoundVolumeDescriptor& f, std::uint64_t wanted) { return f.position < wanted; });
  for (; d != all.end(); ++d) {
    if (d->type != descriptor_type::kPrimary && d->type != descriptor_type::kSupplementary) continue;
    found = d->position / kSectorBytes;
    return Scan::kFound;
  }
  return Scan::kNothing;
}

/// Where the set begins whose first readable descriptor this is: a supplementary one follows a primary, by all writers'
/// practice directly.
std::uint64_t first_of_set(const Image& image, std::uint64_t lba) {
  if (lba <= kSystemAreaSectors) return lba;
  std::vector<std::uint8_t> sectors(2 * kSectorBytes);
  std::array<SectorState, 2> states;
  image.read(lba - 1, sectors, states);
  return sectors[kSectorBytes] == descriptor_type::kSupplementary && !has_bytes(states[0]) ? lba - 1 : lba;
}

}  // namespace

std::uint64_t root_position(const VolumeBasis& volume) {
  if (!volume.root) return 0;
  return volume.at(std::uint64_t{volume.root->extent.value()} + volume.root->ear_length);
}

std::uint64_t space_end_lba(const DescriptorSet& set) {
  std::uint64_t end = set.start_lba + kSystemAreaSectors;
  for (const FoundDescriptor& f : set.descriptors) {
    end = std::max(end, f.lba + 1);
    const auto d = decode_volume_descriptor(f.sector);
    if (!d) continue;
    // Some writers record a later session's end address, others its own length: take it as the former where it can be.
    const std::uint64_t sectors = std::uint64_t{d->space_size.value()} * d->block_bytes() / kSectorBytes;
    end = std::max(end, sectors > set.start_lba ? sectors : set.start_lba + sectors);
  }
  return end;
}

Result<std::vector<DescriptorSet>> find_descriptor_sets(const Image& image, const SetSearch& search,
                                                        Findings& findings) {
  std::vector<DescriptorSet> sets;
  if (!search.given_starts.empty()) {
    for (const std::uint64_t start : search.given_starts) {
      DescriptorSet set = read_set(image, start, SessionSource::kGiven, findings);
      if (set.descriptors.empty()) {
        findings.add({Severity::kLoss, "session-empty", "session", start, "ECMA-119 6.7.1",
                      "no volume descriptor stands 16 sectors behind this session start"});
        continue;
      }
      sets.push_back(std::move(set));
    }
    std::sort(sets.begin(), sets.end(),
              [](const DescriptorSet& a, const DescriptorSet& b) { return a.start_lba < b.start_lba; });
    return sets;
  }

  std::uint64_t next = image.first_lba();
  if (DescriptorSet first = read_set(image, 0, SessionSource::kFirst, findings); !first.descriptors.empty()) {
    next = search.everywhere ? first.descriptors.back().lba + 1 : space_end_lba(first);
    sets.push_back(std::move(first));
  }
  const std::vector<std::uint64_t> tracks = data_track_starts(image);
  DescriptorSearch descriptors(image, search.progress);
  for (;;) {
    const std::uint64_t end =
        search.everywhere ? image.end_lba() : std::min(image.end_lba(), next + kSearchAheadSectors);
    std::uint64_t at = 0;
    const Scan outcome =
        search.frames != nullptr ? next_found(search.frames->remains(), next, at) : descriptors.next(next, end, at);
    if (outcome == Scan::kCancelled) return Error{ErrorCode::kCancelled, "cancelled while looking for sessions"};
    if (outcome == Scan::kNothing) {
      const auto track = std::upper_bound(tracks.begin(), tracks.end(), next);
      if (track == tracks.end()) return sets;
      next = *track;
      continue;
    }
    if (at < kSystemAreaSectors) {
      if (search.frame != nullptr && search.frame->shift_bytes < 0) {
        next = at + 1;  // that the image starts late is known
        continue;
      }
      findings.add({Severity::kDoubt, "image-starts-late", "volume descriptor set", at, "ECMA-119 6.2.1",
                    "a volume descriptor stands before LBA 16; if the image's beginning is missing, say with "
                    "--starts-at at which LBA it starts"});
      next = at + 1;
      continue;
    }
    DescriptorSet set = read_set(image, first_of_set(image, at) - kSystemAreaSectors, SessionSource::kFound, findings);
    const Root root = find_root(image, search, set);
    if (root != Root::kStands) {
      const bool lost = root == Root::kLost;
      findings.add(
          {lost ? Severity::kLoss : Severity::kNote, "descriptors-elsewhere", "volume descriptor set", at,
           "ECMA-119 8.4.18",
           lost ? "a volume descriptor whose root directory can't be read where it says: of a session that lost "
                  "it, or part of a stored disc image; left aside (--session-starts takes it all the same)"
                : "a volume descriptor whose root directory is not where it says: part of a stored disc image, "
                  "or a session whose addresses are shifted; left aside (--session-starts takes it all the "
                  "same)"});
      next = at + 1;
      continue;
    }
    next = search.everywhere ? set.descriptors.back().lba + 1 : std::max(at + 1, space_end_lba(set));
    sets.push_back(std::move(set));
  }
}

}  // namespace lacuna::iso9660
