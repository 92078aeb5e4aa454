// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/mirrored_content.h"

#include <algorithm>

namespace lacuna::udf {

MirroredContent::MirroredContent(EntryReader& entries, const Partitions& partitions, const Content& content,
                                 std::vector<std::uint8_t>& bytes)
    : entries_(entries), content_(content), bytes_(bytes) {
  mirrored_ = std::any_of(content.pieces.begin(), content.pieces.end(), [&](const ContentPiece& p) {
    return p.type == ExtentType::kRecorded && partitions.copies(p.block.partition) > 1;
  });
}

bool MirroredContent::mend(Range stretch) {
  if (!mirrored_ || stretch.first < mended_to_) return false;
  mended_to_ = stretch.end;
  if (mirror_.empty()) {
    RangeSet missing;
    bool suspect = false;
    mirror_ = entries_.read_content(content_, bytes_.size(), missing, suspect, 1);
  }
  const std::uint64_t end = std::min<std::uint64_t>({stretch.end, mirror_.size(), bytes_.size()});
  if (stretch.first >= end) return false;
  const auto first = static_cast<std::ptrdiff_t>(stretch.first), last = static_cast<std::ptrdiff_t>(end);
  if (std::equal(mirror_.begin() + first, mirror_.begin() + last, bytes_.begin() + first)) return false;
  std::copy(mirror_.begin() + first, mirror_.begin() + last, bytes_.begin() + first);
  return true;
}

}  // namespace lacuna::udf
