// SPDX-License-Identifier: GPL-3.0-or-later
// The record of what lies where, while a volume is being built and after.
#include <gtest/gtest.h>

#include <algorithm>
#include <stdexcept>

#include "support/udf_builder_tree.h"

namespace lacuna::test::udf {
namespace {

// A pending address: this bit, the partition, and the byte within it.
constexpr std::uint64_t kPending = std::uint64_t{1} << 63;
constexpr int kPartitionShift = 56;

}  // namespace

Volume::Volume(const UdfOptions& o) : options(o), style(o) { image.block_bytes = o.block_bytes; }

Space& Volume::icb_space(const UdfNode& node) { return node.icb_there ? spaces.at(node.partition) : tree_space(); }

std::uint64_t Volume::pending(Place place, std::uint32_t offset, std::uint32_t block_bytes) {
  return kPending | std::uint64_t{place.partition} << kPartitionShift |
         (std::uint64_t{place.block} * block_bytes + offset);
}

void Volume::note(const std::string& kind, const std::string& path, const Space& space, std::uint32_t block,
                  std::uint32_t offset, std::size_t bytes, std::uint32_t version, std::uint32_t group) {
  for (std::uint32_t copy = 0; copy < 2; ++copy) {
    const auto place = space.place(block, copy);
    if (!place) continue;
    image.structures.push_back(
        {kind, path, pending(*place, offset, options.block_bytes), static_cast<std::uint32_t>(bytes), copy, version});
    structure_groups_.push_back(group);
  }
}

void Volume::age() {
  for (UdfStructure& s : image.structures) ++s.version;
  image.older.insert(image.older.begin(), std::move(image.files));
  image.files.clear();
  image.deleted.clear();
}

void Volume::resolve(const std::vector<std::uint64_t>& first_blocks,
                     const std::map<std::uint32_t, std::uint64_t>& moved) {
  const std::uint64_t packet_bytes = std::uint64_t{kPacketBlocks} * options.block_bytes;
  const auto resolved = [&](std::uint64_t address) {
    if ((address & kPending) == 0) return address;
    const std::size_t partition = (address & ~kPending) >> kPartitionShift;
    const std::uint64_t byte = address & ((std::uint64_t{1} << kPartitionShift) - 1);
    const auto spare = moved.find(static_cast<std::uint32_t>(byte / packet_bytes));
    if (partition == 0 && spare != moved.end()) return spare->second * options.block_bytes + byte % packet_bytes;
    return first_blocks.at(partition) * options.block_bytes + byte;
  };
  for (UdfStructure& s : image.structures) s.address = resolved(s.address);
  join_parts();

  std::vector<std::map<std::string, UdfFile>*> lists = {&image.files, &image.deleted};
  for (auto& o : image.older) lists.push_back(&o);
  for (auto* list : lists) {
    for (auto& [path, file] : *list) {
      std::vector<UdfExtent> joined;
      for (UdfExtent e : file.extents) {
        if (e.address) e.address = resolved(*e.address);
        UdfExtent* last = joined.empty() ? nullptr : &joined.back();
        const bool touches = last != nullptr && last->address.has_value() == e.address.has_value() &&
                             (!e.address || *last->address + last->bytes == *e.address);
        if (touches) {
          last->bytes += e.bytes;
        } else {
          joined.push_back(e);
        }
      }
      file.extents = std::move(joined);
    }
  }
}

/// Parts of one group and copy that touch become one.
void Volume::join_parts() {
  std::vector<UdfStructure> joined;
  std::map<std::pair<std::uint32_t, std::uint32_t>, std::size_t> last;  // By group and copy.
  for (std::size_t i = 0; i < image.structures.size(); ++i) {
    const UdfStructure& s = image.structures[i];
    const std::uint32_t group = structure_groups_[i];
    if (group != 0) {
      const auto [known, fresh] = last.try_emplace({group, s.copy}, joined.size());
      if (!fresh) {
        UdfStructure& before = joined[known->second];
        if (before.address + before.bytes == s.address) {
          before.bytes += s.bytes;
          continue;
        }
        known->second = joined.size();
      }
    }
    joined.push_back(s);
  }
  image.structures = std::move(joined);
  structure_groups_.assign(image.structures.size(), 0);
}

}  // namespace lacuna::test::udf

namespace lacuna::test {

std::string UdfFile::read(std::uint64_t offset, std::uint64_t n) const {
  if (offset > bytes || n > bytes - offset) throw std::out_of_range("beyond the file's end");
  std::string out(n, '\0');
  std::uint64_t recorded_before = 0;
  for (const UdfExtent& e : extents) {
    if (!e.address) continue;
    const std::uint64_t from = std::max(offset, e.offset), to = std::min(offset + n, e.offset + e.bytes);
    if (from < to) out.replace(from - offset, to - from, recorded, recorded_before + (from - e.offset), to - from);
    recorded_before += e.bytes;
  }
  return out;
}

std::vector<UdfStructure> UdfImage::all(std::string_view kind, std::string_view path) const {
  std::vector<UdfStructure> found;
  std::ranges::copy_if(structures, std::back_inserter(found),
                       [&](const UdfStructure& s) { return s.kind == kind && s.path == path; });
  return found;
}

UdfStructure UdfImage::one(std::string_view kind, std::string_view path, std::uint32_t copy,
                           std::uint32_t version) const {
  for (const UdfStructure& s : structures) {
    if (s.kind == kind && s.path == path && s.copy == copy && s.version == version) return s;
  }
  ADD_FAILURE() << "no structure " << kind << " of '" << path << "', copy " << copy << ", version " << version;
  return {};
}

}  // namespace lacuna::test
