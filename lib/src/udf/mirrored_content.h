// SPDX-License-Identifier: GPL-3.0-or-later
// MirroredContent: what is recorded twice, in the metadata file and in its mirror (UDF 2.2.13). Blocks that can't be
// read are taken from the other copy when content is read; here what can be read, but does not prove itself.
#pragma once

#include <cstdint>
#include <vector>

#include "udf/entry_reader.h"

namespace lacuna::udf {

class MirroredContent {
 public:
  /// `bytes` are the content as read, to be mended; all must outlive this.
  MirroredContent(EntryReader& entries, const Partitions& partitions, const Content& content,
                  std::vector<std::uint8_t>& bytes);

  /// Puts the mirror's bytes for a stretch of the content. Gives false when that changes nothing, or was done before:
  /// stretches ascend.
  bool mend(Range stretch);

 private:
  EntryReader& entries_;
  const Content& content_;
  std::vector<std::uint8_t>& bytes_;
  bool mirrored_ = false;
  std::vector<std::uint8_t> mirror_;  // read when first needed
  std::uint64_t mended_to_ = 0;
};

}  // namespace lacuna::udf
