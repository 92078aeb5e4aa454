// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/unit_reader.h"

#include <algorithm>
#include <bit>
#include <cerrno>
#include <utility>

#include "media/cd/scrambler.h"

namespace lacuna {
namespace {

constexpr std::size_t kHeaderBytes = 16;  // sync, address, mode
constexpr std::size_t kMarkBytes = kRawSectorBytes / 8;

/// ECMA-130 14.1: what position tells of a sector of mode 2.
void put_head(cd::RawSpan sector, std::uint64_t lba) {
  std::fill_n(sector.begin() + 1, cd::kSyncBytes - 2, std::uint8_t{0xff});
  sector[0] = sector[cd::kSyncBytes - 1] = 0;
  const auto address = cd::header_address(static_cast<std::int32_t>(std::min<std::uint64_t>(lba, 1U << 30)));
  if (address) std::ranges::copy(*address, sector.begin() + cd::kSyncBytes);
  sector[15] = 2;
}

}  // namespace

std::size_t read_fully(const ByteStore& store, std::uint64_t at_byte, std::span<std::uint8_t> out) {
  std::size_t done = 0;
  while (done < out.size() && at_byte + done < store.size_bytes()) {
    const ReadAnswer answer = store.read_some(at_byte + done, out.subspan(done));
    if (answer.error == EINTR) continue;
    if (answer.error != 0 || answer.bytes == 0) break;
    done += answer.bytes;
  }
  return done;
}

void UnitBuffer::read(const StoredRun& run, const ByteStore& store, std::uint64_t first, std::size_t count) {
  const UnitLayout& unit = run.unit;
  states_.assign(count, SectorState::kGood);
  fetch(store, run.at_byte + first * unit.bytes, unit.bytes, std::size_t{unit.at} + unit.held_bytes());
  take_marks(unit);
  stride_ = unit.bytes;
  at_ = unit.at;
  if (unit.holds != UnitLayout::Holds::kRaw && unit.holds != UnitLayout::Holds::kUser) put_in_place(run, first);
  if (!unit.swapped && !unit.scrambled) return;
  for (std::size_t i = 0; i < count; ++i) {
    const cd::RawSpan s = sector(i);
    if (unit.swapped) {
      for (std::size_t b = 0; b < s.size(); b += 2) std::swap(s[b], s[b + 1]);
    }
    if (unit.scrambled) cd::scramble(s);
  }
}

/// All units in one request, and if that fails, one by one.
void UnitBuffer::fetch(const ByteStore& store, std::uint64_t at_byte, std::size_t unit_bytes, std::size_t held_bytes) {
  // The last unit may lack what follows the bytes that matter; views reach a whole sector at most.
  const std::size_t all = states_.size() * unit_bytes;
  if (bytes_.size() < all + kRawSectorBytes) bytes_.resize(all + kRawSectorBytes);
  const std::size_t got = read_fully(store, at_byte, std::span(bytes_).first(all));
  for (std::size_t i = got / unit_bytes; i < states_.size(); ++i) {
    const std::size_t from = i * unit_bytes;
    if (got >= from + held_bytes) continue;
    const auto bytes = std::span(bytes_).subspan(from, held_bytes);
    if (at_byte + from + held_bytes > store.size_bytes()) {
      states_[i] = SectorState::kAbsent;
    } else if (read_fully(store, at_byte + from, bytes) == held_bytes) {
      continue;
    } else {
      states_[i] = SectorState::kBad;
    }
    std::ranges::fill(bytes, std::uint8_t{0});
  }
}

void UnitBuffer::put_in_place(const StoredRun& run, std::uint64_t first) {
  const UnitLayout& unit = run.unit;
  raw_.assign(states_.size() * kRawSectorBytes, 0);
  const std::size_t to = unit.holds == UnitLayout::Holds::kMode2 ? kHeaderBytes : kHeaderBytes + 8;
  for (std::size_t i = 0; i < states_.size(); ++i) {
    std::copy_n(bytes_.begin() + static_cast<std::ptrdiff_t>(i * unit.bytes + unit.at), unit.held_bytes(),
                raw_.begin() + static_cast<std::ptrdiff_t>(i * kRawSectorBytes + to));
  }
  std::swap(raw_, bytes_);
  stride_ = kRawSectorBytes;
  at_ = 0;
  if (unit.holds != UnitLayout::Holds::kMode2) return;
  for (std::size_t i = 0; i < states_.size(); ++i) put_head(sector(i), run.first_lba + first + i);
}

/// Error pointers of the drive (C2): one bit a byte, the highest first (common practice, no source).
void UnitBuffer::take_marks(const UnitLayout& unit) {
  erasures_.clear();
  if (unit.c2_at == 0) return;
  erasures_.resize(states_.size());
  for (std::size_t i = 0; i < states_.size(); ++i) {
    const Bytes marks = Bytes(bytes_).subspan(i * unit.bytes + unit.c2_at, kMarkBytes);
    for (std::size_t b = 0; b < marks.size(); ++b) {
      for (std::uint8_t rest = marks[b]; rest != 0; rest = static_cast<std::uint8_t>(rest & (rest - 1))) {
        erasures_[i].set(b * 8 + 7 - static_cast<std::size_t>(std::countr_zero(rest)));
      }
    }
  }
}

}  // namespace lacuna
