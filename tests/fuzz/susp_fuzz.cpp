// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a system use area: every entry through every decoder, names and targets put together.
#include "fuzz/promise.h"
#include "iso9660/decode/rock_ridge.h"
#include "iso9660/decode/susp.h"
#include "iso9660/decode/xa.h"
#include "iso9660/decode/zisofs.h"

namespace {

using namespace lacuna;
using namespace lacuna::iso9660;
using test::require;

void decode_all(const SuspEntry& e) {
  if (const auto er = decode_er(e)) {
    test::require_inside(e.data, {er->id, er->descriptor, er->source});
    is_rock_ridge(*er);
  }
  decode_sp(e);
  decode_ce(e);
  decode_es(e);
  decode_px(e);
  decode_pn(e);
  decode_cl(e);
  decode_pl(e);
  is_re(e);
  decode_sf(e);
  decode_rr(e);
  if (const auto tf = decode_tf(e)) {
    for (std::size_t i = 0; i < FileTimes::kCount; ++i) {
      const bool recorded = (tf->recorded >> i & 1) != 0, undecodable = (tf->undecodable >> i & 1) != 0;
      require((recorded || !undecodable) && (!tf->stamps[i].known || (recorded && !undecodable)));
    }
  }
  if (const auto zf = decode_zf(e)) zisofs_table_end(zf->zisofs);
}

void walk(Bytes area, std::size_t skip) {
  SuspReader reader(area, skip);
  NameBuilder name;
  SymlinkBuilder link;
  std::size_t bytes = 0;
  while (const auto e = reader.next()) {
    require(e->length >= 4 && e->whole.size() == e->length && e->data.size() + 4 == e->length);
    test::require_inside(area, {e->whole});
    bytes += e->length;
    decode_all(*e);
    if (e->signature == susp_signature("NM")) name.add(*e);
    if (e->signature == susp_signature("SL")) link.add(*e);
  }
  require(reader.stop() != SuspReader::Stop::kNone && bytes <= area.size());
  require(name.text().size() <= kMaxRripText && link.text().size() <= kMaxRripText);
  require(!link.complete() || (link.problems() & (rrip_text_problem::kComponent | rrip_text_problem::kTooLong)) == 0);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const Bytes input(data, size);
  walk(input, 0);
  walk(input, kXaBytes);
  infer_skip(input);
  decode_xa(input);
  return 0;
}
