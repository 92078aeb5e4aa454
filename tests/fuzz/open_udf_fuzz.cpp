// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a UDF volume with blocks of 512 bytes. The input lists only the blocks that are not zero, each behind
// its number; tags in them are sealed anew, unless an option says not to, so that changes get past their CRCs. The
// promises are those of every disc.
#include <algorithm>
#include <array>
#include <cstdint>
#include <vector>

#include "fuzz/disc_promises.h"
#include "support/memory_image.h"
#include "support/udf_builder.h"

namespace {

using namespace lacuna;

constexpr std::size_t kOptionBytes = 2, kBlockBytes = 512, kRecordBytes = 2 + kBlockBytes, kMostBlocks = 2048;

std::uint16_t word(std::span<const std::uint8_t> b, std::size_t at) {
  return static_cast<std::uint16_t>(b[at] | b[at + 1] << 8);
}

/// 3/7.2.1, 4/7.2.1
bool is_tag(std::uint16_t id) { return (id >= 1 && id <= 9) || (id >= 0x100 && id <= 0x10A); }

/// Tags at the block's start, and those of file identifiers within it (4/14.4).
void reseal(std::span<std::uint8_t> block) {
  constexpr std::uint16_t kFileIdentifier = 0x101;
  for (std::size_t at = 0; at + 40 <= block.size(); at += 4) {
    const auto tag = block.subspan(at);
    const std::uint16_t id = word(tag, 0), version = word(tag, 2);
    const bool sparing_table = at == 0 && id == 0 && version >= 2 && version <= 3;
    if (!sparing_table && (at == 0 ? !is_tag(id) : id != kFileIdentifier || version < 2 || version > 3)) continue;
    if (word(tag, 10) <= tag.size() - 16) test::udf_reseal(tag);
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size < kOptionBytes + kRecordBytes) return 0;
  const std::uint8_t bits = data[0], where = data[1];
  std::vector<std::uint8_t> bytes;
  for (std::size_t at = kOptionBytes; at + kRecordBytes <= size; at += kRecordBytes) {
    const std::span<const std::uint8_t> record(data + at, kRecordBytes);
    const std::size_t block = word(record, 0) % kMostBlocks;
    bytes.resize(std::max(bytes.size(), (block + 1) * kBlockBytes));
    const auto to = std::span(bytes).subspan(block * kBlockBytes, kBlockBytes);
    std::ranges::copy(record.subspan(2), to.begin());
    if ((bits & 1) == 0) reseal(to);
  }
  test::MemoryImage memory(std::move(bytes));
  const std::uint64_t sectors = memory.bytes().size() / kSectorBytes + 1;
  if ((bits & 2) != 0) memory.with_map();
  if ((bits & 4) != 0) memory.mark(where * sectors / 256, 2, SectorState::kBad);
  if ((bits & 8) != 0) memory.fail((where * 7u % 256) * sectors / 256, 1);
  DiscOptions options;
  options.deleted = (bits & 0x10) != 0;
  options.streams = (bits & 0x20) != 0;
  options.all_sessions = (bits & 0x40) != 0;
  if ((bits & 0x80) != 0) options.session_starts = {where};
  test::check_image(*memory.open(), options);
  return 0;
}
