// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/file_set.h"

#include "udf/decode/cs0.h"
#include "udf/decode/read_tag.h"

namespace lacuna::udf {

// ECMA-167 4/14.1
std::optional<FileSet> decode_file_set(Bytes b) noexcept {
  namespace problem = file_set_problem;
  constexpr std::size_t kBytes = 480;
  const auto tag = read_tag(b, tag_id::kFileSet, kBytes);
  if (!tag) return {};
  FileSet s;
  s.tag = *tag;
  s.recorded = time_at(b, 16, problem::kTime, s.problems);
  s.interchange_level = le16(b, 28);
  s.number = le32(b, 40);
  s.descriptor_number = le32(b, 44);
  s.logical_volume_id = b.subspan(112, 128);
  s.file_set_id = b.subspan(304, 32);
  s.copyright_id = b.subspan(336, 32);
  s.abstract_id = b.subspan(368, 32);
  s.root = long_ad_at(b, 400);
  s.domain = regid_at(b, 416);
  s.next = long_ad_at(b, 448);
  s.streams = long_ad_at(b, 464);
  s.bytes = kBytes;

  for (const std::size_t at : {48u, 240u}) {
    if (!is_osta_charspec(b.subspan(at, kCharspecBytes))) s.problems |= problem::kCharspec;
  }
  for (const Bytes text : {s.logical_volume_id, s.file_set_id, s.copyright_id, s.abstract_id}) {
    if (!is_dstring(text)) s.problems |= problem::kText;
  }
  if (s.root.none()) s.problems |= problem::kRoot;
  if (!s.domain.is("*OSTA UDF Compliant")) s.problems |= problem::kDomain;
  return s;
}

}  // namespace lacuna::udf
