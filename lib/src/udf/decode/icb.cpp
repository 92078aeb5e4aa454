// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/icb.h"

#include "udf/decode/read_tag.h"

namespace lacuna::udf {
namespace {

/// 4/14.7 to 4/14.17: the ICB tag of every entry stands behind its tag.
constexpr std::size_t kIcbTagAt = kTagBytes;

}  // namespace

// ECMA-167 4/14.6
IcbTag decode_icb_tag(Bytes b) noexcept {
  namespace problem = icb_problem;
  IcbTag t;
  t.prior_direct_entries = le32(b, 0);
  t.strategy = le16(b, 4);
  t.strategy_parameter = le16(b, 6);
  t.max_entries = le16(b, 8);
  t.file_type = b[11];
  t.parent = lb_addr_at(b, 12);
  t.flags = le16(b, 18);
  if (t.strategy != 4 && t.strategy != 4096) t.problems |= problem::kStrategy;
  if (t.form() > AllocationForm::kEmbedded) t.problems |= problem::kAllocationForm;
  if (b[10] != 0 || t.has(icb_flag::kReserved)) t.problems |= problem::kReserved;
  return t;
}

std::optional<IcbTag> decode_entry_icb_tag(Bytes entry) noexcept {
  if (entry.size() < kIcbTagAt + kIcbTagBytes) return {};
  switch (le16(entry, 0)) {
    case tag_id::kIndirectEntry:
    case tag_id::kTerminalEntry:
    case tag_id::kFileEntry:
    case tag_id::kUnallocatedSpaceEntry:
    case tag_id::kPartitionIntegrityEntry:
    case tag_id::kExtendedFileEntry:
      return decode_icb_tag(entry.subspan(kIcbTagAt));
    default:
      return {};
  }
}

// ECMA-167 4/14.7
std::optional<IndirectEntry> decode_indirect_entry(Bytes b) noexcept {
  constexpr std::size_t kBytes = 52;
  const auto tag = read_tag(b, tag_id::kIndirectEntry, kBytes);
  if (!tag) return {};
  return IndirectEntry{*tag, decode_icb_tag(b.subspan(kIcbTagAt)), long_ad_at(b, 36), kBytes};
}

// ECMA-167 4/14.8
std::optional<TerminalEntry> decode_terminal_entry(Bytes b) noexcept {
  constexpr std::size_t kBytes = 36;
  const auto tag = read_tag(b, tag_id::kTerminalEntry, kBytes);
  if (!tag) return {};
  return TerminalEntry{*tag, decode_icb_tag(b.subspan(kIcbTagAt)), kBytes};
}

}  // namespace lacuna::udf
