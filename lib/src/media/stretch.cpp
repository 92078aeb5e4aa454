// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/stretch.h"

namespace lacuna {

bool Stretch::readable(std::uint64_t offset, std::uint64_t length) const noexcept {
  if (length == 0 || missing_lbas.empty()) return true;
  const std::uint64_t first = position + offset;
  return !missing_lbas.intersects({first / kSectorBytes, (first + length - 1) / kSectorBytes + 1});
}

Stretch read_stretch(const Image& image, std::uint64_t position, std::uint64_t bytes) {
  Stretch stretch;
  stretch.position = position;
  if (bytes == 0) return stretch;
  const std::uint64_t first = position / kSectorBytes;
  const std::uint64_t end = (position + bytes - 1) / kSectorBytes + 1;
  std::vector<std::uint8_t> sectors((end - first) * kSectorBytes);
  std::vector<SectorState> states(end - first, SectorState::kAbsent);
  image.read(first, sectors, states);
  for (std::size_t i = 0; i < states.size(); ++i) {
    if (!has_bytes(states[i])) stretch.missing_lbas.add({first + i, first + i + 1});
  }
  // A last sector that the image was cut in: what lies behind the cut is missing, whole sector or not.
  if (position + bytes > image.end_byte() && image.end_byte() > position) {
    const std::uint64_t cut = image.end_byte() / kSectorBytes;
    if (image.end_byte() % kSectorBytes != 0 && !stretch.missing_lbas.contains(cut)) {
      stretch.missing_lbas = stretch.missing_lbas.united(RangeSet::from_unsorted({{cut, cut + 1}}));
    }
  }
  if (position % kSectorBytes == 0) {
    sectors.resize(bytes);
    stretch.bytes = std::move(sectors);
  } else {
    const auto from = sectors.begin() + static_cast<std::ptrdiff_t>(position % kSectorBytes);
    stretch.bytes.assign(from, from + static_cast<std::ptrdiff_t>(bytes));
  }
  return stretch;
}

}  // namespace lacuna
