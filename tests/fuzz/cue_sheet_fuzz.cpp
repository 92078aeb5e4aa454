// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a cue sheet, over files of many sizes, some missing; its own bytes as the file of samples it names.
#include <cstdint>
#include <memory>

#include "fuzz/layout_promises.h"
#include "media/cue_layout.h"
#include "media/memory_store.h"

namespace {

using namespace lacuna;

// A file of any size that holds the headers of raw sectors, at an address that its name chooses.
class AddressedStore final : public ByteStore {
 public:
  AddressedStore(std::uint64_t size, std::uint8_t minute) : size_(size), minute_(minute) {}
  std::uint64_t size_bytes() const noexcept override { return size_; }
  ReadAnswer read_some(std::uint64_t at_byte, std::span<std::uint8_t> out) const override {
    for (std::size_t i = 0; i < out.size(); ++i) {
      const std::uint64_t in_sector = (at_byte + i) % kRawSectorBytes, frame = (at_byte + i) / kRawSectorBytes % 75;
      const std::uint8_t head[16] = {0,    0xFF, 0xFF,    0xFF, 0xFF,
                                     0xFF, 0xFF, 0xFF,    0xFF, 0xFF,
                                     0xFF, 0,    minute_, 0,    static_cast<std::uint8_t>(frame / 10 * 16 + frame % 10),
                                     1};
      out[i] = in_sector < 16 ? head[in_sector] : 0;
    }
    return {out.size(), 0};
  }

 private:
  std::uint64_t size_;
  std::uint8_t minute_;
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const Result<std::string> text = check_sheet(std::string(as_text({data, size})), "fuzz");
  if (!text) {
    test::check_error(text.error());
    return 0;
  }
  Findings findings;
  const Result<CueSheet> sheet = parse_cue_sheet(*text, "fuzz", findings);
  if (!sheet) {
    test::check_error(sheet.error());
    return 0;
  }
  const SheetOpener open = [&](std::string_view name) -> SheetFile {
    const unsigned char last = name.empty() ? 0 : static_cast<unsigned char>(name.back());
    std::string found(last_component(name));
    if (last == 'w')
      return {std::make_unique<test::MemoryStore>(std::vector<std::uint8_t>(data, data + size)), found, {}};
    if (last % 5 == 0) return {nullptr, {}, "is missing"};
    const std::uint64_t bytes = last % 5 == 1 ? std::uint64_t{1} << 60 : last * std::uint64_t{7001};
    return {std::make_unique<AddressedStore>(bytes, static_cast<std::uint8_t>(last & 0x77)), found, {}};
  };
  const Result<TrackLayout> layout = place_cue_sheet(*sheet, "fuzz", open, findings);
  if (layout) {
    test::check_layout(*layout);
  } else {
    test::check_error(layout.error());
  }
  for (const Finding& f : findings.list())
    test::require(f.text.find('\n') == std::string::npos, "a finding is one line");
  return 0;
}
