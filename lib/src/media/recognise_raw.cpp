// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/recognise_raw.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <utility>

#include "media/cd/scrambler.h"
#include "media/unit_reader.h"

namespace lacuna {
namespace {

constexpr std::size_t kSamples = 24, kSampleBytes = std::size_t{1} << 16;
constexpr std::size_t kSampledUnits = 32;  // of 2336 bytes
constexpr std::int64_t kPregapSectors = 2 * kSectorsPerSecond;
constexpr std::uint64_t kAudioSectors = 2 * kSectorsPerSecond;

/// Sizes of a unit, and where the drive's error pointers are in it. 2368: with 16 bytes of the Q channel; 2448: with
/// all subchannels; the others with error pointers (294 bytes, or 296 with two of block errors) before subchannels
/// (order and sizes from memory of MMC).
struct UnitSize {
  std::uint16_t bytes, c2_at;
};
constexpr std::array<UnitSize, 7> kUnitSizes{
    {{2352, 0}, {2368, 0}, {2448, 0}, {2646, 2352}, {2648, 2352}, {2742, 2352}, {2744, 2352}}};
constexpr std::uint16_t kMode2Bytes = 2336;

/// Pieces that follow one another without a gap, as one store.
class JoinedStore final : public ByteStore {
 public:
  explicit JoinedStore(std::vector<Piece> pieces) : pieces_(std::move(pieces)), first_(pieces_.front().first_byte) {}

  std::uint64_t size_bytes() const noexcept override { return end_of(pieces_.back()) - first_; }
  ReadAnswer read_some(std::uint64_t at_byte, std::span<std::uint8_t> out) const override {
    const std::uint64_t at = first_ + at_byte;
    const auto piece = piece_at(at);
    if (piece == pieces_.end()) return {};
    const auto n = static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), end_of(*piece) - at));
    return piece->store->read_some(at - piece->first_byte, out.first(n));
  }
  Range next_hole(std::uint64_t at_byte) const override {
    for (auto piece = piece_at(first_ + at_byte); piece != pieces_.end(); ++piece) {
      const std::uint64_t shift = piece->first_byte - first_;
      const Range hole = piece->store->next_hole(std::max(at_byte, shift) - shift);
      if (hole.first < piece->store->size_bytes()) return {shift + hole.first, shift + hole.end};
    }
    return {size_bytes(), size_bytes()};
  }

 private:
  static std::uint64_t end_of(const Piece& p) noexcept { return p.first_byte + p.store->size_bytes(); }
  std::vector<Piece>::const_iterator piece_at(std::uint64_t byte) const noexcept {
    return std::upper_bound(pieces_.begin(), pieces_.end(), byte,
                            [](std::uint64_t at, const Piece& p) { return at < end_of(p); });
  }

  std::vector<Piece> pieces_;
  std::uint64_t first_;
};

/// ECMA-130 annex B: what the scrambler adds to the header.
std::array<std::uint8_t, 4> scrambled_header() {
  std::array<std::uint8_t, kRawSectorBytes> zeros{};
  cd::scramble(zeros);
  return {zeros[12], zeros[13], zeros[14], zeros[15]};
}

/// Looks at the image before anything is known of it.
class Recogniser {
 public:
  explicit Recogniser(const std::vector<Piece>& pieces) : pieces_(pieces) {
    const Piece& last = pieces.back();
    size_ = last.first_byte + last.store->size_bytes();
  }

  struct Answer {
    UnitLayout unit;
    std::uint64_t first_byte = 0;           // of the first unit
    std::uint64_t first_sync = 0;           // that was met in a sample
    std::optional<std::int64_t> first_lba;  // of the first unit, by headers
  };

  std::optional<Answer> run() {
    if (looks_plain()) return {};
    sample();
    if (auto by_sync = vote()) return by_sync;
    return syncs_ == 0 ? without_sync() : std::nullopt;
  }

 private:
  /// Two syncs that are one unit apart.
  struct Pair {
    std::size_t size = 0;  // index into kUnitSizes
    std::uint64_t at_byte = 0;
  };
  struct Address {
    bool scrambled = false;
    std::int64_t first_lba = 0;  // of the image's first whole unit, if no byte is missing in between
    friend auto operator<=>(const Address&, const Address&) = default;
  };

  std::vector<std::uint8_t> read(std::uint64_t at, std::size_t bytes) const {
    std::vector<std::uint8_t> out(bytes);
    std::size_t done = 0;
    for (const Piece& p : pieces_) {
      const std::uint64_t end = p.first_byte + p.store->size_bytes();
      if (at + done < p.first_byte || at + done >= end || done == bytes) continue;
      const auto n = static_cast<std::size_t>(std::min<std::uint64_t>(bytes - done, end - at - done));
      done += read_fully(*p.store, at + done - p.first_byte, std::span(out).subspan(done, n));
    }
    out.resize(done);
    return out;
  }

  /// ECMA-119 8.1, ECMA-167 2/9.1: a volume recognition area where plain images have it.
  bool looks_plain() const {
    for (std::uint64_t sector = 16; sector < 20; ++sector) {
      const auto head = read(sector * kSectorBytes, 6);
      if (head.size() < 6) return false;
      const std::string_view id = as_text(Bytes(head).subspan(1, 5));
      if (id == "CD001" || id == "BEA01" || id == "NSR02" || id == "NSR03") return true;
    }
    return false;
  }

  void sample() {
    const std::uint64_t span = size_ > kSampleBytes ? size_ - kSampleBytes : 0;
    std::uint64_t last = ~std::uint64_t{0};
    for (std::size_t i = 0; i < kSamples; ++i) {
      const std::uint64_t at = span / (kSamples - 1) * i;
      if (at == last) continue;
      last = at;
      look_for_syncs(at, read(at, kSampleBytes));
    }
  }

  void look_for_syncs(std::uint64_t at, const std::vector<std::uint8_t>& bytes) {
    std::vector<std::uint64_t> found;
    for (std::size_t i = 0; i + 16 <= bytes.size(); ++i) {
      if (!cd::has_sync(Bytes(bytes).subspan(i))) continue;
      found.push_back(at + i);
      ++syncs_;
      i += cd::kSyncBytes - 1;
    }
    for (std::size_t i = 1; i < found.size(); ++i) {
      ++gaps_;
      for (std::size_t s = 0; s < kUnitSizes.size(); ++s) {
        if (found[i] - found[i - 1] == kUnitSizes[s].bytes) pairs_.push_back({s, found[i - 1]});
      }
    }
  }

  std::optional<std::int64_t> first_lba_by(const Pair& pair, bool scrambled) const {
    const auto head = read(pair.at_byte, 16);
    if (head.size() < 16) return {};
    std::array<std::uint8_t, 4> h{head[12], head[13], head[14], head[15]};
    if (scrambled) {
      for (std::size_t i = 0; i < h.size(); ++i) h[i] = static_cast<std::uint8_t>(h[i] ^ scrambled_header_[i]);
    }
    const auto lba = cd::header_lba(h[0], h[1], h[2]);
    if (!lba || (h[3] & 3) == 3) return {};
    return *lba - static_cast<std::int64_t>(pair.at_byte / kUnitSizes[pair.size].bytes);
  }

  /// The size that most pairs have, and in the others the first place: behind it bytes may be lost or too many.
  std::optional<Answer> vote() const {
    std::array<std::size_t, kUnitSizes.size()> votes{};
    for (const Pair& p : pairs_) ++votes[p.size];
    const auto size = static_cast<std::size_t>(std::max_element(votes.begin(), votes.end()) - votes.begin());
    if (votes[size] == 0 || votes[size] * 2 < gaps_) return {};
    Answer a;
    a.unit.bytes = kUnitSizes[size].bytes;
    a.unit.c2_at = kUnitSizes[size].c2_at;
    std::map<std::uint64_t, std::size_t> residues;
    std::map<Address, std::size_t> addresses;
    for (const Pair& p : pairs_) {
      if (p.size != size) continue;
      ++residues[p.at_byte % a.unit.bytes];
      for (const bool scrambled : {false, true}) {
        if (const auto lba = first_lba_by(p, scrambled)) ++addresses[{scrambled, *lba}];
      }
    }
    const std::size_t enough = std::min<std::size_t>(2, votes[size]);
    bool placed = false, addressed = false;
    for (const Pair& p : pairs_) {
      if (p.size != size) continue;
      if (!placed && residues[p.at_byte % a.unit.bytes] >= enough) {
        placed = true;
        a.first_byte = p.at_byte % a.unit.bytes;
        a.first_sync = p.at_byte;
      }
      for (const bool scrambled : {false, true}) {
        const auto lba = addressed ? std::nullopt : first_lba_by(p, scrambled);
        if (!lba || addresses[{scrambled, *lba}] < enough) continue;
        addressed = true;
        a.unit.scrambled = scrambled;
        a.first_lba = lba;
      }
    }
    // Nothing is recorded before the pregap: these are the sectors of an image within the image. So are those that
    // begin where a sector of a plain image does, with other data before them, and don't count it.
    if (a.first_lba && *a.first_lba < -kPregapSectors) return {};
    if ((!a.first_lba || *a.first_lba < 0) && begins_in_a_plain_sector(a)) return {};
    return placed ? std::optional(a) : std::nullopt;
  }

  bool begins_in_a_plain_sector(const Answer& a) const {
    constexpr std::size_t kMostUnitsBack = 1024;
    std::uint64_t first = a.first_sync;
    for (std::size_t i = 0; i < kMostUnitsBack && first >= a.unit.bytes; ++i) {
      const auto head = read(first - a.unit.bytes, cd::kSyncBytes);
      if (head.size() < cd::kSyncBytes || !cd::has_sync(head)) break;
      first -= a.unit.bytes;
    }
    return first != 0 && first % kSectorBytes == 0;
  }

  /// 2336 bytes a sector: subheaders that stand there twice, over data whose EDC agrees.
  std::optional<Answer> without_sync() const {
    if (size_ < kMode2Bytes || size_ % kMode2Bytes != 0) return {};
    const std::uint64_t units = size_ / kMode2Bytes;
    std::size_t looked_at = 0, proven = 0;
    std::array<std::uint8_t, kRawSectorBytes> sector{};
    for (std::size_t i = 0; i < kSampledUnits; ++i) {
      const auto bytes = read(units * i / kSampledUnits * kMode2Bytes, kMode2Bytes);
      if (bytes.size() < kMode2Bytes || all_zero(bytes)) continue;
      ++looked_at;
      std::ranges::copy(bytes, sector.begin() + 16);
      const cd::Sector s = cd::look(sector, {std::nullopt, SectorForm::kForm1, nullptr});
      if (s.proven && (s.form == SectorForm::kForm1 || s.form == SectorForm::kForm2)) ++proven;
    }
    if (proven == 0 || proven * 2 < looked_at) return {};
    Answer a;
    a.unit = {kMode2Bytes, UnitLayout::Holds::kMode2, 0, false, false, 0};
    return a;
  }

  const std::vector<Piece>& pieces_;
  const std::array<std::uint8_t, 4> scrambled_header_ = scrambled_header();
  std::uint64_t size_ = 0;
  std::uint64_t syncs_ = 0, gaps_ = 0;
  std::vector<Pair> pairs_;  // ascending
};

}  // namespace

std::optional<TrackLayout> recognise_raw(std::vector<Piece>& pieces, std::uint64_t starts_at) {
  const auto answer = Recogniser(pieces).run();
  if (!answer) return {};
  TrackLayout layout;
  const std::uint64_t unit = answer->unit.bytes;
  std::int64_t lba = answer->first_lba.value_or(static_cast<std::int64_t>(starts_at));
  std::uint64_t first_byte = answer->first_byte;
  if (lba < 0) {  // a pregap has no LBA here
    first_byte += static_cast<std::uint64_t>(-lba) * unit;
    lba = 0;
  }
  layout.first_lba = layout.end_lba = static_cast<std::uint64_t>(lba);
  for (std::size_t i = 0; i < pieces.size();) {
    std::vector<Piece> group;
    const std::uint64_t from = pieces[i].first_byte;
    std::uint64_t end = from;
    for (; i < pieces.size() && pieces[i].first_byte == end; ++i) {
      end += pieces[i].store->size_bytes();
      group.push_back(std::move(pieces[i]));
    }
    StoredRun run;
    const std::uint64_t skipped = from > first_byte ? (from - first_byte + unit - 1) / unit : 0;
    const std::uint64_t at = first_byte + skipped * unit;
    run.first_lba = static_cast<std::uint64_t>(lba) + skipped;
    run.sectors = end > at ? (end - at + unit - 1) / unit : 0;
    run.store = layout.stores.size();
    run.at_byte = at - from;
    run.unit = answer->unit;
    layout.stores.push_back(std::make_unique<JoinedStore>(std::move(group)));
    if (run.sectors == 0) continue;
    layout.runs.push_back(run);
  }
  return layout;
}

namespace {

bool is_data(SectorMark m) {
  return has_bytes(m.state()) && m.form() != SectorForm::kUnknown && m.form() != SectorForm::kAudio;
}

/// Whether a stretch without a sync sounds of something.
bool has_sound(const TrackLayout& layout, Range lbas) {
  UnitBuffer units;
  std::size_t loud = 0, all = 0;
  for (std::uint64_t lba = lbas.first; lba < lbas.end; lba += std::max<std::uint64_t>(1, lbas.length() / 64)) {
    for (const StoredRun& r : layout.runs) {
      if (lba < r.first_lba || lba >= r.first_lba + r.sectors) continue;
      units.read(r, *layout.stores[r.store], lba - r.first_lba, 1);
      ++all;
      const Bytes sector = units.sector(0);
      loud += std::ranges::all_of(sector, [&](std::uint8_t b) { return b == sector[0]; }) ? 0 : 1;
    }
  }
  return all != 0 && loud * 2 >= all;
}

void make_audio(TrackLayout& layout, SectorMarks& marks, Range lbas) {
  std::vector<StoredRun> cut;
  for (const StoredRun& r : layout.runs) {
    const std::uint64_t end = r.first_lba + r.sectors;
    const std::uint64_t from = std::clamp(lbas.first, r.first_lba, end), to = std::clamp(lbas.end, r.first_lba, end);
    const auto part = [&](std::uint64_t first, std::uint64_t last, bool audio) {
      if (first >= last) return;
      StoredRun p = r;
      p.at_byte += (first - r.first_lba) * r.unit.bytes;
      p.first_lba = first;
      p.sectors = last - first;
      p.audio = audio;
      cut.push_back(p);
    };
    part(r.first_lba, from, false);
    part(from, to, true);
    part(to, end, false);
  }
  layout.runs = std::move(cut);
  for (std::uint64_t lba = lbas.first; lba < lbas.end; ++lba) {
    SectorMark& m = marks[static_cast<std::size_t>(lba - layout.first_lba)];
    if (m.state() == SectorState::kBad) m = SectorMark(SectorState::kGood, SectorForm::kAudio, false);
  }
}

}  // namespace

void name_tracks(TrackLayout& layout, SectorMarks& marks, const std::string& name, Findings& findings) {
  const auto first = std::find_if(marks.begin(), marks.end(), is_data);
  const auto last = std::find_if(marks.rbegin(), marks.rend(), is_data).base();
  Range data{layout.first_lba, layout.first_lba + marks.size()};
  const auto try_audio = [&](Range lbas) {
    if (lbas.end < lbas.first + kAudioSectors || !has_sound(layout, lbas)) return false;
    make_audio(layout, marks, lbas);
    findings.add(
        {Severity::kDoubt, "audio-guessed", name, lbas.first, "",
         fmt::format("{} sectors without a sync are taken for audio; nothing else tells of tracks: a cue sheet "
                     "would",
                     lbas.length())});
    return true;
  };
  const auto add = [&](Range lbas, bool audio) {
    if (lbas.first >= lbas.end) return;
    Track t;
    t.number = static_cast<std::uint32_t>(layout.tracks.size() + 1);
    t.audio = audio;
    t.first_lba = lbas.first;
    t.sectors = lbas.length();
    t.guessed = true;
    layout.tracks.push_back(std::move(t));
  };
  if (first == marks.end()) return add(data, false);
  const Range before{data.first, layout.first_lba + static_cast<std::uint64_t>(first - marks.begin())};
  const Range behind{layout.first_lba + static_cast<std::uint64_t>(last - marks.begin()), data.end};
  if (try_audio(before)) {
    add(before, true);
    data.first = before.end;
  }
  const bool audio_behind = try_audio(behind);
  if (audio_behind) data.end = behind.first;
  add(data, false);
  if (audio_behind) add(behind, true);
}

}  // namespace lacuna
