// SPDX-License-Identifier: GPL-3.0-or-later
// Strategy: nearly all sectors looked at are none of these, so each kind has a test of a few bytes that the contents of
// files seldom pass; only then is anything decoded.
#include "iso9660/remains.h"

#include <algorithm>
#include <cstring>
#include <iterator>

#include "iso9660/decode/directory_record.h"
#include "iso9660/decode/el_torito.h"
#include "iso9660/decode/path_table.h"
#include "iso9660/decode/rock_ridge.h"
#include "iso9660/decode/susp.h"
#include "iso9660/decode/volume_descriptor.h"

namespace lacuna::iso9660 {
namespace {

/// The smallest logical block (ECMA-119 6.2.2): directories and path tables may start at any.
constexpr std::size_t kLeastBlockBytes = 512;

// ---- how identifiers are recorded

/// What one identifier tells. UCS-2 characters of the Basic Latin block have a zero byte where 8-bit identifiers never
/// have one; 8-bit ones may be of odd length.
IdentifierKind kind_of(Bytes id) {
  if (id.size() < 2) return id.size() == 1 && id[0] > 1 ? IdentifierKind::kBytes : IdentifierKind::kUnknown;
  if (id.size() % 2 != 0) return IdentifierKind::kBytes;
  for (std::size_t i = 0; i < id.size(); i += 2) {
    if (id[i] == 0) return IdentifierKind::kUcs2;
  }
  // Printable ASCII all through would be a strange choice of ideographs.
  const bool ascii = std::ranges::all_of(id, [](std::uint8_t c) { return c >= 0x20 && c < 0x7f; });
  return ascii ? IdentifierKind::kBytes : IdentifierKind::kUnknown;
}

// ---- directory records

template <class T>
bool usable(const BothEndian<T>& n) {
  return n.agree() || n.little == 0 || n.big == 0;
}

/// Nothing speaks against its being a directory record, but that a writer filled in one half of its numbers only.
bool is_record(const DirectoryRecord& r) {
  using namespace record_problem;
  return (r.problems & kImplausible & ~(kExtentHalves | kDataLengthHalves)) == 0 && usable(r.extent) &&
         usable(r.data_length);
}

bool is_known_entry(std::uint16_t signature) {
  switch (signature) {
    case susp_signature("CE"):
    case susp_signature("PD"):
    case susp_signature("SP"):
    case susp_signature("ER"):
    case susp_signature("ES"):
    case susp_signature("PX"):
    case susp_signature("PN"):
    case susp_signature("SL"):
    case susp_signature("NM"):
    case susp_signature("CL"):
    case susp_signature("PL"):
    case susp_signature("RE"):
    case susp_signature("TF"):
    case susp_signature("SF"):
    case susp_signature("RR"):
    case susp_signature("ZF"):
    case susp_signature("AL"):
      return true;
    default:
      return false;
  }
}

/// Whether the area holds entries of SUSP, behind XA attributes or not; finds PL on the way.
bool has_susp(Bytes system_use, std::uint32_t* real_parent) {
  for (const std::size_t skip : {std::size_t{0}, std::size_t{14}}) {
    SuspReader reader(system_use, skip);
    bool met = false;
    while (const auto e = reader.next()) {
      if (!is_known_entry(e->signature)) break;
      met = true;
      if (const auto pl = decode_pl(*e); pl && real_parent != nullptr) *real_parent = pl->value();
    }
    if (met) return true;
  }
  return false;
}

/// By the records from `at` on, to the end of the sector.
IdentifierKind kind_of_records(Bytes sector, std::size_t at) {
  IdentifierKind kind = IdentifierKind::kUnknown;
  while (at < sector.size() && sector[at] != 0) {
    const auto r = decode_directory_record(sector.subspan(at));
    if (!r || !is_record(*r)) break;
    const IdentifierKind says = kind_of(r->identifier);
    if (says == IdentifierKind::kUcs2) return says;
    if (says != IdentifierKind::kUnknown) kind = says;
    if (has_susp(r->system_use, nullptr)) return IdentifierKind::kBytes;
    at += r->length;
  }
  return kind;
}

/// A "." record's fixed bytes (ECMA-119 9.1.1, 9.1.6, 9.1.9, 9.1.10).
bool like_self(Bytes b) { return b[32] == 1 && b[33] == 0 && b[0] >= kRootRecordBytes && (b[25] & 0x82) == 0x02; }

std::optional<FoundDirectory> decode_start(Bytes sector, std::uint64_t position) {
  const auto self = decode_directory_record(sector);
  if (!self || !self->is_self() || !is_record(*self) || self->data_length.value() == 0) return {};
  const Bytes rest = sector.subspan(self->length);
  const auto parent = decode_directory_record(rest);
  if (!parent || !parent->is_parent() || !is_record(*parent) || self->extent.value() == 0) return {};
  FoundDirectory d;
  d.position = position;
  d.block = self->extent.value() + self->ear_length;
  d.bytes = self->data_length.value();
  d.parent_block = parent->extent.value() + parent->ear_length;
  d.parent_bytes = parent->data_length.value();
  d.rock_ridge = has_susp(self->system_use, nullptr);
  d.rock_ridge = has_susp(parent->system_use, &d.real_parent_block) || d.rock_ridge;
  d.dated = self->recorded.known;
  d.recorded_seconds = self->recorded.seconds;
  d.kind = d.rock_ridge ? IdentifierKind::kBytes : kind_of_records(sector, std::size_t{self->length} + parent->length);
  return d;
}

/// A record begins here whose two pairs of halves agree (ECMA-119 7.3.3), which other data seldom does.
bool like_record(Bytes b) {
  return b[0] > kRecordFixedBytes && b[32] != 0 && b[32] <= b[0] - kRecordFixedBytes && le32(b, 2) == be32(b, 6) &&
         le32(b, 10) == be32(b, 14);
}

std::optional<FoundRecords> decode_records(Bytes sector, std::uint64_t position) {
  std::size_t at = 0;
  for (; at < sector.size() && sector[at] != 0;) {
    const auto r = decode_directory_record(sector.subspan(at));
    if (!r || !is_record(*r) || r->is_self() || r->is_parent()) return {};
    at += r->length;
  }
  if (std::ranges::any_of(sector.subspan(at), [](std::uint8_t c) { return c != 0; })) return {};
  return FoundRecords{position, kind_of_records(sector, 0)};
}

// ---- path tables

constexpr std::size_t kPathRecordBytes = 8;  // ECMA-119 9.4.1 to 9.4.4
constexpr int kLeastPathRecords = 4;         // fewer, from the middle of a table, tell nothing from other data
// Joliet allows 64 characters and writers take more; identifiers are at most as long as fits a directory record.
constexpr std::size_t kMostIdentifierBytes = 255 - kRecordFixedBytes;

/// The root's record (ECMA-119 6.9.1): one byte of identifier, 00, and parent 1.
bool like_root(Bytes b) { return b[0] == 1 && b[8] == 0 && b[9] == 0 && b[6] + b[7] == 1 && le32(b, 2) != 0; }

struct PathRun {
  int records = 0;
  bool clean = false;  // up to the end of the bytes or to nothing but zeros
  IdentifierKind kind = IdentifierKind::kUnknown;
};

/// Walks over records that can follow one another: parents don't decrease (6.9.1).
PathRun walk(Bytes table, bool big_endian, bool from_root) {
  PathRun run;
  std::uint16_t last_parent = 0;
  for (std::size_t at = 0;;) {
    const Bytes b = table.subspan(std::min(at, table.size()));
    const auto r = decode_path_table_record(b, big_endian);
    if (!r) {
      const bool cut = b.size() < kPathRecordBytes || b[0] != 0;  // the sector ends within a record
      run.clean = cut || std::ranges::all_of(b, [](std::uint8_t c) { return c == 0; });
      return run;
    }
    const bool root = from_root && run.records == 0;
    const bool self_or_parent = r->identifier.size() == 1 && r->identifier[0] < 2;
    if (r->problems != 0 || r->identifier.size() > kMostIdentifierBytes || r->ear_length > 16 || r->extent == 0 ||
        r->parent_number < last_parent || (self_or_parent && !root)) {
      return run;
    }
    last_parent = r->parent_number;
    if (const IdentifierKind says = kind_of(r->identifier);
        run.kind != IdentifierKind::kUcs2 && says != IdentifierKind::kUnknown) {
      run.kind = says;
    }
    ++run.records;
    at += r->length;
  }
}

std::optional<FoundPathTable> decode_path_start(Bytes sector, std::uint64_t position) {
  const bool big_endian = sector[7] == 1;
  const PathRun run = walk(sector, big_endian, true);
  if (run.records == 0 || (run.records == 1 && !run.clean)) return {};
  const std::uint32_t extent = big_endian ? be32(sector, 2) : le32(sector, 2);
  return FoundPathTable{position, extent + sector[1], true, big_endian, run.kind};
}

/// Whether a record seems to start here and another behind it: most have no extended attribute record, so that the byte
/// behind the length is 0, and blocks of a disc fit into three bytes, but for the largest with the smallest blocks.
bool like_path_record(Bytes sector, std::size_t at, bool big_endian) {
  const std::size_t length = sector[at];
  if (length == 0 || length > kMostIdentifierBytes || sector[at + 1] != 0 || sector[at + (big_endian ? 2 : 5)] != 0 ||
      (sector[at + 6] | sector[at + 7]) == 0) {
    return false;
  }
  const std::size_t next = at + kPathRecordBytes + length + length % 2;
  return next + 1 >= sector.size() || (sector[next] != 0 && sector[next + 1] == 0);
}

/// A sector from the middle of a table, at whatever byte its first whole record starts.
std::optional<FoundPathTable> decode_path_middle(Bytes sector, std::uint64_t position) {
  constexpr std::size_t kMostPhase = kPathRecordBytes + kMostIdentifierBytes;
  for (std::size_t at = 0; at < kMostPhase; ++at) {
    if (sector[at + 1] != 0) {
      const void* zero = std::memchr(sector.data() + at + 1, 0, kMostPhase - at);
      if (zero == nullptr) return {};
      at = static_cast<std::size_t>(static_cast<const std::uint8_t*>(zero) - sector.data()) - 1;
    }
    if (sector[at] == 0) continue;
    for (const bool big_endian : {false, true}) {
      if (!like_path_record(sector, at, big_endian)) continue;
      const PathRun run = walk(sector.subspan(at), big_endian, false);
      if (run.clean && run.records >= kLeastPathRecords) {
        return FoundPathTable{position + at, 0, false, big_endian, run.kind};
      }
    }
  }
  return {};
}

// ---- others

bool like_descriptor(Bytes b) { return b[1] == 'C' && std::memcmp(b.data() + 1, "CD001", 5) == 0; }

bool is_catalog(Bytes b) {
  if (b[0] != 1 || b[30] != 0x55 || b[31] != 0xaa) return false;
  const auto entry = decode_validation_entry(b);
  return entry && entry->checksum_ok && entry->key_ok;
}

bool is_continuation(Bytes b) {
  if (b[3] != 1 || b[2] < 4 || b[0] < 'A' || b[0] > 'Z' || !is_known_entry(be16(b, 0))) return false;
  SuspReader reader(b);
  int entries = 0;
  while (const auto e = reader.next()) {
    if (!is_known_entry(e->signature) || e->version != 1) break;
    ++entries;
  }
  // One entry alone must be followed by nothing: an area may end anywhere in its sector.
  return entries >= 2 || (entries == 1 && reader.stop() != SuspReader::Stop::kBadLength);
}

template <class T>
std::uint64_t position_of(const T& found) {
  return found.position;
}
std::uint64_t position_of(std::uint64_t position) { return position; }

template <class T>
void sort_unique(std::vector<T>& list) {
  std::stable_sort(list.begin(), list.end(), [](const T& a, const T& b) { return position_of(a) < position_of(b); });
  list.erase(
      std::unique(list.begin(), list.end(), [](const T& a, const T& b) { return position_of(a) == position_of(b); }),
      list.end());
  list.shrink_to_fit();
}

}  // namespace

template <class T>
void Remains::keep(std::vector<T>& list, const T& found) {
  if (list.size() < kMost) {
    list.push_back(found);
  } else {
    truncated_ = true;
  }
}

void Remains::look_at(Bytes bytes, std::size_t own_bytes, std::uint64_t position) {
  for (std::size_t at = 0; at < own_bytes && at + kSectorBytes <= bytes.size(); at += kSectorBytes) {
    look_at_sector(bytes.subspan(at, kSectorBytes), position + at);
  }
}

void Remains::look_at_sector(Bytes sector, std::uint64_t position) {
  // In path tables no record is cut by a block, but sectors of directories are whole (6.8.1.1).
  bool start = false;
  for (std::size_t at = 0; at < kSectorBytes; at += kLeastBlockBytes) {
    const Bytes block = sector.subspan(at);
    if (like_self(block)) {
      if (const auto d = decode_start(block, position + at)) {
        keep(directories_, *d);
        start = start || at == 0;
      }
    } else if (like_root(block)) {
      if (const auto table = decode_path_start(block, position + at)) {
        keep(path_tables_, *table);
        start = true;
      }
    }
  }
  if (start) return;
  if (like_descriptor(sector)) return keep(descriptors_, {position, sector[0]});
  if (is_catalog(sector)) return keep(boot_catalogs_, position);
  if (like_record(sector)) {
    if (const auto records = decode_records(sector, position)) return keep(records_, *records);
  }
  if (is_continuation(sector)) return keep(continuations_, position);
  if (const auto table = decode_path_middle(sector, position)) keep(path_tables_, *table);
}

RangeSet Remains::sectors() const {
  std::vector<Range> all;
  const auto take = [&all](const auto& list) {
    for (const auto& found : list) {
      const std::uint64_t lba = position_of(found) / kSectorBytes;
      all.push_back({lba, lba + 1});
    }
  };
  take(directories_);
  take(records_);
  take(descriptors_);
  take(path_tables_);
  take(boot_catalogs_);
  take(continuations_);
  return RangeSet::from_unsorted(std::move(all));
}

void Remains::add(Remains&& other) {
  const auto move_all = [this](auto& list, auto& more) {
    const std::size_t room = kMost - std::min(kMost, list.size());
    truncated_ = truncated_ || more.size() > room;
    const auto end = more.begin() + static_cast<std::ptrdiff_t>(std::min(room, more.size()));
    std::move(more.begin(), end, std::back_inserter(list));
    more.clear();
  };
  move_all(directories_, other.directories_);
  move_all(records_, other.records_);
  move_all(descriptors_, other.descriptors_);
  move_all(path_tables_, other.path_tables_);
  move_all(boot_catalogs_, other.boot_catalogs_);
  move_all(continuations_, other.continuations_);
  truncated_ = truncated_ || other.truncated_;
}

void Remains::finish() {
  sort_unique(directories_);
  sort_unique(records_);
  sort_unique(descriptors_);
  sort_unique(path_tables_);
  sort_unique(boot_catalogs_);
  sort_unique(continuations_);
}

}  // namespace lacuna::iso9660
