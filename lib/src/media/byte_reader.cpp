// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/byte_reader.h"

#include <algorithm>
#include <cstring>

namespace lacuna {

namespace {
constexpr std::size_t kSlots = 64;  // 2 MiB: directories and their file entries are seldom far apart
}

ByteReader::ByteReader(const Image& image) : image_(image), end_byte_(image.end_byte()), slots_(kSlots) {}

const ByteReader::Slot& ByteReader::slot(std::uint64_t number) {
  Slot& s = slots_[number % kSlots];
  if (s.number == number) return s;
  s.bytes.resize(kSlotBytes);
  image_.read(number * kSlotSectors, s.bytes, s.states);
  s.number = number;
  return s;
}

SectorState ByteReader::read(std::uint64_t position, std::span<std::uint8_t> out) {
  RangeSet missing;
  return read(position, out, missing);
}

SectorState ByteReader::read(std::uint64_t position, std::span<std::uint8_t> out, RangeSet& missing) {
  SectorState worst = SectorState::kGood;
  const auto lose = [&](std::uint64_t bytes, SectorState state) {
    std::memset(out.data(), 0, static_cast<std::size_t>(bytes));
    missing.add({position, position + bytes});
    worst = std::max(worst, state);
  };
  while (!out.empty()) {
    // What lies behind the end, a last sector's missing bytes included, and beyond all addresses.
    if (position >= end_byte_) {
      lose(std::min<std::uint64_t>(out.size(), ~position), SectorState::kAbsent);
      std::memset(out.data(), 0, out.size());
      return worst;
    }
    const std::uint64_t within = position % kSlotBytes;
    const Slot& s = slot(position / kSlotBytes);
    const std::uint64_t sector = within / kSectorBytes;
    const auto take = static_cast<std::size_t>(
        std::min<std::uint64_t>({kSectorBytes - within % kSectorBytes, out.size(), end_byte_ - position}));
    const SectorState state = s.states[sector];
    if (has_bytes(state)) {
      std::memcpy(out.data(), s.bytes.data() + within, take);
      worst = std::max(worst, state);
    } else {
      lose(take, state);
    }
    out = out.subspan(take);
    position += take;
  }
  return worst;
}

Bytes ByteReader::view(std::uint64_t position, std::size_t bytes, SectorState& worst) {
  const std::uint64_t within = position % kSlotBytes;
  if (position < end_byte_ && bytes <= end_byte_ - position && within + bytes <= kSlotBytes) {
    const Slot& s = slot(position / kSlotBytes);
    worst = SectorState::kGood;
    for (std::uint64_t i = within / kSectorBytes; i * kSectorBytes < within + bytes; ++i) {
      worst = std::max(worst, s.states[i]);
    }
    return Bytes(s.bytes).subspan(within, bytes);
  }
  view_.resize(bytes);
  worst = read(position, view_);
  return view_;
}

}  // namespace lacuna
