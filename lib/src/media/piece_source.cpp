// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/piece_source.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <utility>

namespace lacuna {
namespace {

// 64 MiB of ranges. A file has this many holes only if at least 32 GiB of it alternate block by block.
constexpr std::size_t kMaxHoles = std::size_t{1} << 22;

std::uint64_t end_byte_of(const Piece& piece) noexcept { return piece.first_byte + piece.store->size_bytes(); }

class PieceSource final : public SectorSource {
 public:
  PieceSource(std::vector<Piece> pieces, std::uint64_t starts_at, RangeSet holes, RangeSet missing)
      : pieces_(std::move(pieces)),
        bytes_(end_byte_of(pieces_.back())),
        starts_at_(starts_at),
        holes_(std::move(holes)),
        missing_(std::move(missing)) {}

  std::uint64_t first_lba() const noexcept override { return starts_at_; }
  std::uint64_t end_lba() const noexcept override { return starts_at_ + (bytes_ + kSectorBytes - 1) / kSectorBytes; }
  std::uint32_t last_sector_bytes() const noexcept override {
    const auto rest = static_cast<std::uint32_t>(bytes_ % kSectorBytes);
    return rest == 0 ? kSectorBytes : rest;
  }
  const RangeSet& holes() const noexcept override { return holes_; }
  const RangeSet& missing() const noexcept override { return missing_; }

  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    const std::size_t count = std::min(states.size(), out.size() / kSectorBytes);
    for (std::size_t i = 0; i < count;) {
      const SectorState state = known_state(lba + i);
      std::size_t end = i + 1;
      while (end < count && known_state(lba + end) == state) ++end;
      const std::span<std::uint8_t> to = out.subspan(i * kSectorBytes, (end - i) * kSectorBytes);
      if (state == SectorState::kGood) {
        read_stored(lba + i, to, states.subspan(i, end - i));
      } else {
        std::ranges::fill(to, std::uint8_t{0});
        std::ranges::fill(states.subspan(i, end - i), state);
      }
      i = end;
    }
  }

 private:
  SectorState known_state(std::uint64_t lba) const noexcept {
    if (lba < first_lba() || lba >= end_lba() || missing_.contains(lba)) return SectorState::kAbsent;
    return holes_.contains(lba) ? SectorState::kUnread : SectorState::kGood;
  }

  // Sectors that should have bytes: all in one request, and if that fails, one by one from where it failed, so that a
  // drive has to try each failing sector no more than twice.
  void read_stored(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const {
    const std::uint64_t from = (lba - starts_at_) * kSectorBytes;
    const std::size_t got = read_bytes(from, out);
    std::size_t i = 0;
    for (; i < states.size() && got >= present_bytes(from, i); ++i) states[i] = SectorState::kGood;
    for (; i < states.size(); ++i) {
      const std::span<std::uint8_t> sector = out.subspan(i * kSectorBytes, kSectorBytes);
      const std::size_t present = present_bytes(from, i) - i * kSectorBytes;
      const bool good = read_bytes(from + i * kSectorBytes, sector) == present;
      if (!good) std::ranges::fill(sector, std::uint8_t{0});
      states[i] = good ? SectorState::kGood : SectorState::kBad;
    }
  }

  // How many bytes from `from` to the end of the i-th sector behind it are in the image.
  std::size_t present_bytes(std::uint64_t from, std::size_t i) const noexcept {
    return static_cast<std::size_t>(std::min<std::uint64_t>((i + 1) * kSectorBytes, bytes_ - from));
  }

  // Reads on through short answers, interruptions and piece borders until `out` is full, the image ends, or reading
  // fails. Gives the number of bytes that are in `out`; the others are zero.
  std::size_t read_bytes(std::uint64_t from, std::span<std::uint8_t> out) const {
    std::size_t done = 0;
    auto piece = std::upper_bound(pieces_.begin(), pieces_.end(), from,
                                  [](std::uint64_t at, const Piece& p) { return at < end_byte_of(p); });
    while (done < out.size() && piece != pieces_.end() && piece->first_byte <= from + done) {
      const std::uint64_t at = from + done - piece->first_byte;
      const std::uint64_t left = piece->store->size_bytes() - at;
      if (left == 0) {
        ++piece;
        continue;
      }
      const std::size_t want = static_cast<std::size_t>(std::min<std::uint64_t>(out.size() - done, left));
      const ReadAnswer answer = piece->store->read_some(at, out.subspan(done, want));
      if (answer.error == EINTR) continue;
      if (answer.error != 0 || answer.bytes == 0) break;
      done += answer.bytes;
    }
    std::ranges::fill(out.subspan(done), std::uint8_t{0});
    return done;
  }

  std::vector<Piece> pieces_;
  std::uint64_t bytes_;
  std::uint64_t starts_at_;
  RangeSet holes_;
  RangeSet missing_;
};

// Turns byte ranges that come in ascending order into the sectors that lie wholly within them.
class WholeSectors {
 public:
  WholeSectors(std::uint64_t image_bytes, std::uint64_t starts_at) : image_bytes_(image_bytes), starts_at_(starts_at) {}

  void add(Range bytes) {
    if (bytes.first == open_.end) {  // goes on from the piece before
      open_.end = bytes.end;
      return;
    }
    close();
    open_ = bytes;
  }

  std::size_t count() const noexcept { return sectors_.ranges().size(); }

  RangeSet take() {
    close();
    return std::move(sectors_);
  }

 private:
  void close() {
    const std::uint64_t first = (open_.first + kSectorBytes - 1) / kSectorBytes;
    // A last sector that is cut lies wholly within a hole when what is present of it does.
    const std::uint64_t end = (open_.end == image_bytes_ ? open_.end + kSectorBytes - 1 : open_.end) / kSectorBytes;
    sectors_.add({starts_at_ + first, starts_at_ + end});
  }

  std::uint64_t image_bytes_;
  std::uint64_t starts_at_;
  Range open_;
  RangeSet sectors_;
};

RangeSet missing_sectors(const std::vector<Piece>& pieces, std::uint64_t starts_at) {
  RangeSet missing;
  std::uint64_t at = 0;
  for (const Piece& piece : pieces) {
    if (piece.first_byte > at) {
      missing.add({starts_at + at / kSectorBytes, starts_at + (piece.first_byte + kSectorBytes - 1) / kSectorBytes});
    }
    at = end_byte_of(piece);
  }
  return missing;
}

}  // namespace

Result<std::unique_ptr<SectorSource>> make_piece_source(std::vector<Piece> pieces, std::uint64_t starts_at,
                                                        const std::string& name) {
  const std::uint64_t bytes = end_byte_of(pieces.back());
  if (starts_at >= kMaxSectors || bytes > kMaxImageBytes - starts_at * kSectorBytes) {
    return Error{ErrorCode::kNotReadable,
                 fmt::format("'{}' has {} bytes from LBA {} on; a disc has at most {} sectors of {} bytes", name, bytes,
                             starts_at, kMaxSectors, kSectorBytes)};
  }
  WholeSectors holes(bytes, starts_at);
  for (const Piece& piece : pieces) {
    const std::uint64_t size = piece.store->size_bytes();
    for (Range hole = piece.store->next_hole(0); hole.first < size; hole = piece.store->next_hole(hole.end)) {
      holes.add({piece.first_byte + hole.first, piece.first_byte + hole.end});
      if (holes.count() > kMaxHoles) {
        return Error{ErrorCode::kNotReadable,
                     fmt::format("'{}' is a sparse file with more than {} holes, of which no account can be kept; copy "
                                 "it without holes and give a map (--map) of what was not read",
                                 name, kMaxHoles)};
      }
    }
  }
  RangeSet missing = missing_sectors(pieces, starts_at);
  return std::unique_ptr<SectorSource>(
      std::make_unique<PieceSource>(std::move(pieces), starts_at, holes.take().minus(missing), std::move(missing)));
}

}  // namespace lacuna
