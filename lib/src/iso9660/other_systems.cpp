// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/other_systems.h"

#include <algorithm>

#include "iso9660/decode/hybrid.h"
#include "iso9660/decode/volume_descriptor.h"
#include "iso9660/descriptor_sets.h"
#include "media/stretch.h"

namespace lacuna::iso9660 {
namespace {

constexpr std::uint64_t kRecognitionSectors = 32;  // descriptors of all systems share one sequence (ECMA-167 2/8.3)
constexpr std::uint64_t kVolumeHeaderBytes = 2048;

class Names {
 public:
  void add(std::string name) {
    if (std::find(list_.begin(), list_.end(), name) == list_.end()) list_.push_back(std::move(name));
  }
  std::vector<std::string> take() { return std::move(list_); }

 private:
  std::vector<std::string> list_;
};

void add_apple_volume(const Image& image, std::uint64_t position, Names& names) {
  const Stretch start = read_stretch(image, position, kVolumeHeaderBytes);
  if (!start.readable(0, kVolumeHeaderBytes)) return;
  const auto volume = decode_apple_volume(start.bytes);
  if (!volume) return;
  switch (volume->kind) {
    case AppleFileSystem::kHfs:
      names.add(volume->wraps_hfs_plus ? "HFS+ (in an HFS wrapper)" : "HFS");
      break;
    case AppleFileSystem::kHfsPlus:
      names.add("HFS+");
      break;
    case AppleFileSystem::kHfsx:
      names.add("HFSX");
      break;
  }
}

void add_partitioned(const Image& image, Names& names) {
  const Stretch start = read_stretch(image, 0, kSystemAreaSectors * kSectorBytes);
  if (const auto map = decode_apple_partition_map(start.bytes)) {
    if (!map->partitions.empty()) names.add("Apple partition map");
    for (const ApplePartition& p : map->partitions) {
      add_apple_volume(image, std::uint64_t{p.first_block} * map->map_block_bytes, names);
    }
  }
  add_apple_volume(image, 0, names);
  if (is_gpt(start.bytes)) names.add("GUID partition table");
  if (const auto mbr = decode_mbr(start.bytes); mbr && mbr->used != 0) names.add("master boot record");
}

void add_recognised(const Image& image, std::uint64_t session_lba, Names& names) {
  const std::uint64_t first = session_lba + kSystemAreaSectors;
  const Stretch sequence = read_stretch(image, first * kSectorBytes, kRecognitionSectors * kSectorBytes);
  for (std::uint64_t i = 0; i < kRecognitionSectors; ++i) {
    const auto id = decode_vrs(sequence.from(i * kSectorBytes, kSectorBytes));
    if (!id) continue;
    if (*id == VrsId::kNsr02 || *id == VrsId::kNsr03) names.add("UDF");
    if (*id == VrsId::kCdw02) names.add("ECMA-168");
  }
  if (is_high_sierra(sequence.from(0, kSectorBytes))) names.add("High Sierra");
}

}  // namespace

std::vector<std::string> find_other_systems(const Image& image, std::uint64_t session_lba) {
  Names names;
  add_partitioned(image, names);
  add_recognised(image, session_lba, names);
  return names.take();
}

}  // namespace lacuna::iso9660
