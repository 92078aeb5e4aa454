// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/record_checks.h"

#include <bit>

namespace lacuna::iso9660 {

bool is_garbage(const DirectoryRecord& r) {
  using namespace record_problem;
  if ((r.problems & kEmptyIdentifier) != 0) return true;
  std::uint32_t against = r.problems & (kDate | kReservedFlags | kSelfOrParentFile);
  // A half that was never filled in is a writer's habit, two different numbers are not.
  if ((r.problems & kExtentHalves) != 0 && r.extent.little != 0 && r.extent.big != 0) against |= kExtentHalves;
  if ((r.problems & kDataLengthHalves) != 0 && r.data_length.little != 0 && r.data_length.big != 0) {
    against |= kDataLengthHalves;
  }
  return std::popcount(against) >= 2;
}

std::size_t next_record(Bytes sector, std::size_t from) {
  const auto like_record = [&](std::size_t at) {  // two pairs of equal halves (7.3.3): other data seldom has them
    const Bytes b = sector.subspan(at);
    return b.size() > kRecordFixedBytes && b[0] > kRecordFixedBytes && le32(b, 2) == be32(b, 6) &&
           le32(b, 10) == be32(b, 14) && le32(b, 2) != 0;
  };
  for (std::size_t first = from + 1; first + kRecordFixedBytes < sector.size(); ++first) {
    if (!like_record(first)) continue;
    std::size_t at = first;
    while (at < sector.size() && sector[at] != 0) {
      const auto r = decode_directory_record(sector.subspan(at));
      if (!r || !r->plausible()) break;
      at += r->length;
    }
    if (at == sector.size() || (at > first && sector[at] == 0)) return first;
  }
  return sector.size();
}

std::optional<std::uint32_t> proven_extent(const Image& image, const VolumeBasis& volume, const PathTables& tables,
                                           const DirectoryRecord& r) {
  const auto choose = [&](const auto& proves) -> std::optional<std::uint32_t> {
    const bool little = proves(r.extent.little), big = proves(r.extent.big);
    if (little == big) return {};
    return little ? r.extent.little : r.extent.big;
  };
  const auto stands = [&](std::uint32_t block) {
    const auto self = read_self_record(image, volume.at(std::uint64_t{block} + r.ear_length));
    return self && self->extent.agree() && self->extent.value() == block;
  };
  if (const auto proven = choose(stands)) return proven;
  return choose([&](std::uint32_t block) {
    return !tables.identifier_at(volume.at(std::uint64_t{block} + r.ear_length)).empty();
  });
}

}  // namespace lacuna::iso9660
