// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/stream_names.h"

#include <algorithm>

#include "udf/decode/file_identifier.h"
#include "udf/mirrored_content.h"

namespace lacuna::udf {

StreamNames read_stream_names(EntryReader& entries, const Partitions& partitions, const Entry& directory,
                              std::uint64_t& budget_bytes) {
  StreamNames names;
  const Content content = entries.content(directory, budget_bytes);
  RangeSet missing;
  bool suspect = false;
  auto bytes = entries.read_content(content, budget_bytes, missing, suspect);
  budget_bytes -= std::min<std::uint64_t>(budget_bytes, bytes.size());
  MirroredContent mirrored(entries, partitions, content, bytes);
  names.damaged = !missing.empty();
  for (std::size_t at = 0; at < bytes.size();) {
    const auto next = find_next_fid(bytes, at);
    if (next != at) {
      const std::size_t end = next.value_or(bytes.size());
      if (mirrored.mend({at, end})) continue;
      names.damaged = true;
      at = end;
      continue;
    }
    const auto fid = decode_fid(Bytes(bytes).subspan(at));
    if (!fid) break;
    at += std::max<std::size_t>(fid->length(), 4);
    if (!fid->is_parent() && !fid->is_deleted()) names.identifiers.emplace_back(fid->raw.begin(), fid->raw.end());
  }
  return names;
}

}  // namespace lacuna::udf
