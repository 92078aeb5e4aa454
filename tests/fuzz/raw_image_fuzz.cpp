// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as an image of raw sectors: it is recognised or not, and what it then says of its sectors holds when they
// are read.
#include <algorithm>
#include <array>

#include "fuzz/promise.h"
#include "lacuna/image.h"
#include "media/raw_source.h"
#include "media/recognise_raw.h"

namespace {

using namespace lacuna;

class BytesStore final : public ByteStore {
 public:
  explicit BytesStore(Bytes bytes) : bytes_(bytes) {}
  std::uint64_t size_bytes() const noexcept override { return bytes_.size(); }
  ReadAnswer read_some(std::uint64_t at_byte, std::span<std::uint8_t> out) const override {
    if (at_byte >= bytes_.size()) return {};
    const auto n = std::min<std::size_t>(out.size(), bytes_.size() - static_cast<std::size_t>(at_byte));
    std::copy_n(bytes_.begin() + static_cast<std::ptrdiff_t>(at_byte), n, out.begin());
    return {n, 0};
  }

 private:
  Bytes bytes_;
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using test::require;
  std::vector<Piece> pieces;
  pieces.push_back({0, std::make_unique<BytesStore>(Bytes(data, size))});
  auto layout = recognise_raw(pieces, 0);
  if (!layout) return 0;
  Findings findings;
  auto source = make_raw_source(std::move(*layout), "image", {1, {}, {}}, findings);
  if (!source) return 0;
  const auto image = Image::from_source(std::move(source).value());
  require(image->end_lba() - image->first_lba() <= kMostRawSectors);
  const SectorMap states = image->states();
  const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(image->end_lba() - image->first_lba(), 512));
  std::vector<std::uint8_t> bytes(count * kRawSectorBytes);
  std::vector<SectorState> read(count);
  image->read(image->first_lba(), std::span(bytes).first(count * kSectorBytes), read);
  const SectorMap data_states = image->data_states();
  for (std::size_t i = 0; i < count; ++i) {
    require(read[i] == data_states.at(image->first_lba() + i), "sectors read as their states say");
  }
  image->raw()->read_raw(image->first_lba(), bytes, read);
  for (std::size_t i = 0; i < count; ++i) {
    const SectorState said = states.at(image->first_lba() + i);
    require(!has_bytes(said) || read[i] == said, "and whole sectors, too");
  }
  for (const Track& t : image->raw()->tracks()) require(t.first_lba + t.sectors <= image->end_lba());
  return 0;
}
