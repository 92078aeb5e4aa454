// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as an image, from opening to the bytes of its files, with every option that changes the way. Beyond not
// crashing, the promises hold: a whole file reads to its last byte without a gap, and no name leaves its folder.
#include <cstdint>
#include <vector>

#include "fuzz/disc_promises.h"
#include "support/memory_image.h"

namespace {

using namespace lacuna;

constexpr std::size_t kMostBytes = std::size_t{1} << 20;

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size < 2 || size > kMostBytes) return 0;
  std::vector<std::uint8_t> bytes(std::size_t{16} * kSectorBytes);  // the system area, which nothing reads
  bytes.insert(bytes.end(), data + 2, data + size);
  test::MemoryImage memory(std::move(bytes));
  const unsigned bits = data[0];
  const std::uint64_t where = 16 + data[1] / 2u;
  if ((bits & 1) != 0) memory.mark(where, 2, SectorState::kBad);
  if ((bits & 2) != 0) memory.fail(where + 5, 1);
  const auto image = memory.open();

  DiscOptions options;
  const unsigned view = bits >> 2 & 7;
  if (view >= 1 && view <= kViewCount) options.view = static_cast<View>(view - 1);
  options.all_sessions = (bits & 0x20) != 0;
  if ((bits & 0x40) != 0) options.names_charset = "CP437";
  if ((bits & 0x80) != 0) options.session_starts = {0, where};
  test::check_image(*image, options);
  return 0;
}
