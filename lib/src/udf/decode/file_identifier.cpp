// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/file_identifier.h"

#include <algorithm>

#include "udf/decode/cs0.h"
#include "udf/decode/read_tag.h"

namespace lacuna::udf {
namespace {

bool has_fid_identifier(Bytes b) { return b.size() >= 2 && le16(b, 0) == tag_id::kFileIdentifier; }

// 4/14.4.2 to 4/14.4.9: what the decoded fields have against the standard
std::uint32_t problems_of(const FileIdentifier& f, bool padding_whole) {
  std::uint32_t found = 0;
  const auto check = [&](bool fine, std::uint32_t bit) { found |= fine ? 0 : bit; };
  check(f.version == 1, fid_problem::kVersion);
  check(!f.is_parent() || (f.name.empty() && f.is_directory()), fid_problem::kParentNamed);
  check(f.is_parent() || !f.name.empty(), fid_problem::kNoName);
  check(!f.has(fid_flag::kReserved), fid_problem::kReservedFlags);
  check(padding_whole && all_zero(f.raw.subspan(static_cast<std::size_t>(f.bytes))), fid_problem::kPadding);
  check(f.implementation_use.size() % 4 == 0, fid_problem::kImplementationUse);
  check(cs0_form(f.name) != Cs0Form::kUnknown, fid_problem::kCompression);
  return found;
}

}  // namespace

// ECMA-167 4/14.4
std::optional<FileIdentifier> decode_fid(Bytes rest) noexcept {
  const Bytes b = rest;
  const auto tag = read_tag(b, tag_id::kFileIdentifier, kFidFixedBytes);
  if (!tag) return {};
  const std::size_t name_bytes = b[19], use_bytes = le16(b, 36);
  const std::size_t bytes = kFidFixedBytes + use_bytes + name_bytes;
  if (bytes > b.size()) return {};

  std::optional<FileIdentifier> result(std::in_place);
  FileIdentifier& f = *result;
  f.tag = *tag;
  f.version = le16(b, 16);
  f.characteristics = b[18];
  f.icb = long_ad_at(b, 20);
  f.implementation_use = b.subspan(kFidFixedBytes, use_bytes);
  f.name = b.subspan(kFidFixedBytes + use_bytes, name_bytes);
  f.bytes = bytes;
  const std::size_t padded_bytes = (bytes + 3) & ~std::size_t{3};
  f.raw = b.first(std::min(padded_bytes, b.size()));
  f.problems = problems_of(f, f.raw.size() == padded_bytes);
  return result;
}

std::optional<FileIdentifier> FidReader::next() noexcept {
  if (stop_ != Stop::kNone) return {};
  const Bytes rest = content_.subspan(at_);
  if (const auto fid = decode_fid(rest)) {
    at_ += fid->length();
    return fid;
  }
  if (rest.empty()) {
    stop_ = Stop::kEnd;
  } else if (has_fid_identifier(rest)) {
    stop_ = Stop::kTruncated;
  } else {
    stop_ = all_zero(rest) ? Stop::kZeros : Stop::kNotFid;
  }
  return {};
}

void FidReader::resume_at(std::size_t offset) noexcept {
  at_ = std::min(offset, content_.size());
  stop_ = Stop::kNone;
}

std::optional<std::size_t> find_next_fid(Bytes content, std::size_t from) noexcept {
  if (from > content.size()) return {};
  for (std::size_t at = (from + 3) & ~std::size_t{3}; at + kFidFixedBytes <= content.size(); at += 4) {
    const Bytes rest = content.subspan(at);
    if (!has_fid_identifier(rest) || tag_checksum(rest) != rest[4]) continue;
    const auto fid = decode_fid(rest);
    if (fid && fid->length() <= kMaxFidBytes && check_tag(fid->raw, {}, fid->bytes).proven()) return at;
  }
  return {};
}

}  // namespace lacuna::udf
