// SPDX-License-Identifier: GPL-3.0-or-later
// Chunks: four letters, a big-endian length, data. Of each session written at once: CUEX or CUES (the addresses of all
// indexes), DAOX or DAOI (where the tracks' bytes are), SINF (how many tracks). Of each written track by track: ETN2 or
// ETNF, SINF. Also CDTX (CD-Text), MTYP, END!.
#include "media/nrg.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <string_view>
#include <utility>
#include <vector>

#include "base/bytes.h"
#include "lacuna/states.h"
#include "media/cd_text.h"
#include "media/layout_builder.h"
#include "media/map_rows.h"
#include "media/sample_file.h"
#include "media/sheet_text.h"

namespace lacuna {
namespace {

constexpr std::size_t kMaxNrgChunkBytes = std::size_t{1} << 20;
constexpr int kMaxNrgChunks = 2000;
constexpr std::uint32_t kMaxTrack = 99;
constexpr std::uint32_t kLeadOut = 0xAA;

struct NrgMode {
  std::uint32_t number;
  std::uint16_t bytes;
  UnitLayout::Holds holds;
  bool audio;
};

constexpr std::array<NrgMode, 9> kNrgModes = {{
    {0x00, 2048, UnitLayout::Holds::kUser, false},   // mode 1
    {0x02, 2048, UnitLayout::Holds::kUser, false},   // mode 2 form 1
    {0x03, 2336, UnitLayout::Holds::kMode2, false},  // mode 2
    {0x05, 2352, UnitLayout::Holds::kRaw, false},    // mode 1
    {0x06, 2352, UnitLayout::Holds::kRaw, false},    // mode 2
    {0x07, 2352, UnitLayout::Holds::kRaw, true},
    {0x0F, 2448, UnitLayout::Holds::kRaw, false},  // mode 1 and subchannel
    {0x10, 2448, UnitLayout::Holds::kRaw, true},
    {0x11, 2448, UnitLayout::Holds::kRaw, false},  // mode 2 and subchannel
}};

// BCD; a digit above 9 makes it what it would be worth, which is out of place and found so.
std::uint32_t from_bcd(std::uint8_t b) { return b >> 4 == 0xA ? b : (b >> 4) * 10U + (b & 0x0FU); }

// Where the bytes of a track are.
struct NrgTrack {
  std::uint32_t number = 0;
  std::uint32_t session = 1;
  std::uint32_t mode = 0;
  std::uint32_t unit_bytes = 0;
  std::uint64_t at_byte = 0, index1_byte = 0, end_byte = 0;  // of the pregap, of index 1, behind it
  std::optional<std::int64_t> lba;                           // of index 1
  std::string isrc;
};

class NrgReader {
 public:
  NrgReader(std::unique_ptr<ByteStore> store, const std::string& name, Findings& findings)
      : name_(name), builder_(name, findings), store_(*store) {
    builder_.add_store(std::move(store));
  }

  Result<TrackLayout> read() {
    const std::optional<std::uint64_t> start = nrg_chunks_at(store_);
    if (!start) return Error{ErrorCode::kNotReadable, fmt::format("'{}' does not end as an NRG container does", name_)};
    if (const std::string why = walk(*start); !why.empty()) {
      return Error{ErrorCode::kBadInput, fmt::format("{}: {}", name_, why)};
    }
    for (const NrgTrack& track : tracks_) place(track, *start);
    return builder_.finish(end_lba_);
  }

 private:
  // Each gives a reason when the container can't be followed, else nothing.
  std::string walk(std::uint64_t at_byte) {
    std::vector<std::uint8_t> data;
    for (int count = 0; count < kMaxNrgChunks; ++count) {
      std::array<std::uint8_t, 8> head{};
      if (!read_exactly(store_, at_byte, head)) return fmt::format("no chunk can be read at byte {}", at_byte);
      const std::string_view id = as_text(head).substr(0, 4);
      const std::uint32_t bytes = be32(head, 4);
      if (id == "END!") return {};
      if (bytes > kMaxNrgChunkBytes) {
        return fmt::format("the chunk {} at byte {} has {} bytes, too many", quoted_input(id), at_byte, bytes);
      }
      data.resize(bytes);
      if (!read_exactly(store_, at_byte + head.size(), data)) {
        return fmt::format("the chunk {} at byte {} is cut", quoted_input(id), at_byte);
      }
      if (std::string why = take(id, data); !why.empty()) {
        return fmt::format("the chunk {} at byte {} {}", quoted_input(id), at_byte, why);
      }
      at_byte += head.size() + bytes;
    }
    return "has too many chunks";
  }

  std::string take(std::string_view id, Bytes data) {
    if (id == "CUEX" || id == "CUES") return take_indexes(data, id == "CUEX");
    if (id == "DAOX" || id == "DAOI") return take_disc_at_once(data, id == "DAOX");
    if (id == "ETN2" || id == "ETNF") return take_track_at_once(data, id == "ETN2");
    if (id == "CDTX") text_ = read_cd_text(data);
    if (id == "SINF") ++session_;
    return {};
  }

  // Of 8 bytes each: control and address, track, index, 0, and the LBA (CUEX) or 0, minutes, seconds, frames (CUES).
  std::string take_indexes(Bytes data, bool as_lba) {
    for (; data.size() >= 8; data = data.subspan(8)) {
      const std::uint32_t track = from_bcd(data[1]);
      std::int64_t lba = static_cast<std::int32_t>(be32(data, 4));
      if (!as_lba) {
        lba = (from_bcd(data[5]) * 60 + from_bcd(data[6])) * std::int64_t{kSectorsPerSecond} + from_bcd(data[7]) - 150;
      }
      if (track == kLeadOut && lba > 0) end_lba_ = std::max(end_lba_, static_cast<std::uint64_t>(lba));
      if (data[2] == 1 && track <= kMaxTrack) index1_[track] = lba;
    }
    return {};
  }

  // A head of 22 bytes, the last two the first and last track's numbers; of each track: ISRC (12), unit (2), mode (1),
  // unknown (3), then where pregap, index 1 and end lie in the file, of 8 bytes (DAOX) or 4 (DAOI).
  std::string take_disc_at_once(Bytes data, bool wide) {
    constexpr std::size_t kHead = 22, kFacts = 18;
    const std::size_t width = wide ? 8 : 4;
    const std::size_t entry = kFacts + 3 * width;
    if (data.size() < kHead) return "is too short for its head";
    const std::uint32_t first = data[20], last = data[21];
    if (first == 0 || last > kMaxTrack || first > last) return fmt::format("names tracks {} to {}", first, last);
    data = data.subspan(kHead);
    if (data.size() / entry < last - first + 1) return "holds fewer tracks than it says";
    for (std::uint32_t number = first; number <= last; ++number, data = data.subspan(entry)) {
      const auto place = [&](std::size_t i) {
        const std::size_t at = kFacts + i * width;
        return wide ? std::uint64_t{be32(data, at)} << 32 | be32(data, at + 4) : be32(data, at);
      };
      NrgTrack track{number, session_, data[14], be16(data, 12), place(0), place(1), place(2), {}, {}};
      if (const auto at = index1_.find(number); at != index1_.end()) track.lba = at->second;
      track.isrc = shown_text(as_text(data.first(12)), SheetCharset::kLatin1);
      if (std::string why = add(std::move(track)); !why.empty()) return why;
    }
    return {};
  }

  // Of each track: place and length in the file, of 8 bytes (ETN2) or 4 (ETNF), mode (4), LBA (4), unknown (8 or 4).
  std::string take_track_at_once(Bytes data, bool wide) {
    const std::size_t width = wide ? 8 : 4;
    const std::size_t entry = wide ? 32 : 20;
    for (; data.size() >= entry; data = data.subspan(entry)) {
      const auto number_at = [&](std::size_t at) {
        return wide ? std::uint64_t{be32(data, at)} << 32 | be32(data, at + 4) : be32(data, at);
      };
      const std::uint64_t at_byte = number_at(0), bytes = number_at(width);
      if (bytes > store_.size_bytes()) return "holds a track longer than the file";
      const std::uint32_t number = tracks_.empty() ? 1 : tracks_.back().number + 1;
      NrgTrack track{number, session_, be32(data, 2 * width), 0, at_byte, at_byte, at_byte + bytes, {}, {}};
      track.lba = be32(data, 2 * width + 4);
      if (std::string why = add(std::move(track)); !why.empty()) return why;
    }
    return {};
  }

  std::string add(NrgTrack track) {
    if (track.number > kMaxTrack) return fmt::format("names more than {} tracks", kMaxTrack);
    if (!tracks_.empty() && track.number <= tracks_.back().number) {
      return fmt::format("names track {} after track {}", track.number, tracks_.back().number);
    }
    if (track.at_byte > track.index1_byte || track.index1_byte > track.end_byte) {
      return fmt::format("has track {} end before it begins", track.number);
    }
    tracks_.push_back(std::move(track));
    return {};
  }

  void place(const NrgTrack& track, std::uint64_t chunks_at) {
    const auto mode =
        std::find_if(kNrgModes.begin(), kNrgModes.end(), [&](const NrgMode& m) { return m.number == track.mode; });
    const bool known = mode != kNrgModes.end() && (track.unit_bytes == 0 || track.unit_bytes == mode->bytes);
    const std::uint64_t unit = known ? mode->bytes : track.unit_bytes;
    const std::int64_t lba = track.lba.value_or(-1);
    if (lba < 0 || unit == 0) {
      return find(track, "layout-place", "is placed before the disc's first sector, or nowhere; it was left out");
    }
    Track t;
    t.number = track.number;
    t.session = track.session;
    t.audio = known && mode->audio;
    t.first_lba = static_cast<std::uint64_t>(lba);
    t.sectors = (track.end_byte - track.index1_byte) / unit;
    // What lies before LBA 0 is no sector of an image.
    const std::uint64_t stored_pregap = std::min((track.index1_byte - track.at_byte) / unit, t.first_lba);
    t.pregap_sectors = stored_pregap;
    t.isrc = track.isrc;
    t.title = text_.title[track.number];
    t.performer = text_.performer[track.number];
    end_lba_ = std::max(end_lba_, t.first_lba + t.sectors);
    if (!known) {
      find(track, "layout-file-kind",
           fmt::format("is of mode {} with {} bytes a sector, which is not read; its sectors are absent", track.mode,
                       track.unit_bytes));
    } else {
      const std::uint64_t first_byte = track.index1_byte - stored_pregap * unit;
      const std::uint64_t limit = std::min(chunks_at, store_.size_bytes());
      const std::uint64_t there = (limit - std::min(first_byte, limit)) / unit;
      if (there < stored_pregap + t.sectors) {
        find(track, "layout-file-short",
             fmt::format("reaches beyond the sectors that the file has; {} are absent",
                         stored_pregap + t.sectors - there));
      }
      UnitLayout layout;
      layout.bytes = mode->bytes;
      layout.holds = mode->holds;
      builder_.add_run({t.first_lba - stored_pregap, std::min(there, stored_pregap + t.sectors), 0, first_byte, layout,
                        mode->audio});
    }
    builder_.add_track(std::move(t));
  }

  void find(const NrgTrack& track, std::string_view kind, std::string_view text) {
    std::optional<std::uint64_t> lba;
    if (track.lba && *track.lba >= 0) lba = static_cast<std::uint64_t>(*track.lba);
    builder_.find(Severity::kLoss, kind, name_, lba, fmt::format("track {} {}", track.number, text));
  }

  const std::string& name_;
  LayoutBuilder builder_;
  const ByteStore& store_;
  std::vector<NrgTrack> tracks_;
  std::map<std::uint32_t, std::int64_t> index1_;
  CdText text_;
  std::uint32_t session_ = 1;
  std::uint64_t end_lba_ = 0;
};

}  // namespace

std::optional<std::uint64_t> nrg_chunks_at(const ByteStore& store) {
  const std::uint64_t size = store.size_bytes();
  std::array<std::uint8_t, 12> tail{};
  if (size < tail.size() || !read_exactly(store, size - tail.size(), tail)) return std::nullopt;
  std::optional<std::uint64_t> at;
  if (as_text(tail).substr(0, 4) == "NER5") at = std::uint64_t{be32(tail, 4)} << 32 | be32(tail, 8);
  if (!at && as_text(tail).substr(4, 4) == "NERO") at = be32(tail, 8);
  return at && *at < size ? at : std::nullopt;
}

Result<TrackLayout> place_nrg(std::unique_ptr<ByteStore> store, const std::string& name, Findings& findings) {
  return NrgReader(std::move(store), name, findings).read();
}

}  // namespace lacuna
