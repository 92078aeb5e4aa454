// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a TOC file, whose files are the bytes themselves, and as an NRG container.
#include <cstdint>
#include <memory>

#include "fuzz/layout_promises.h"
#include "media/memory_store.h"
#include "media/nrg.h"
#include "media/sample_file.h"
#include "media/toc_sheet.h"

namespace {

using namespace lacuna;

void check(const Result<TrackLayout>& layout) {
  if (layout) {
    test::check_layout(*layout);
  } else {
    test::check_error(layout.error());
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto store = [&] { return std::make_unique<test::MemoryStore>(std::vector<std::uint8_t>(data, data + size)); };
  Findings findings;
  check(place_nrg(store(), "fuzz", findings));
  if (const Result<Samples> samples = find_samples(*store())) {
    test::require(samples->bytes <= size && samples->bytes <= samples->said_bytes, "samples lie in the file");
  }
  const Result<std::string> text = check_sheet(std::string(as_text({data, size})), "fuzz");
  if (!text) return 0;
  looks_like_toc(*text);
  const Result<TocSheet> sheet = parse_toc_sheet(*text, "fuzz");
  if (!sheet) {
    test::check_error(sheet.error());
    return 0;
  }
  const SheetOpener open = [&](std::string_view name) -> SheetFile {
    if (name.size() % 3 == 0) return {nullptr, {}, "is missing"};
    return {store(), std::string(last_component(name)), {}};
  };
  check(place_toc_sheet(*sheet, "fuzz", open, findings));
  return 0;
}
