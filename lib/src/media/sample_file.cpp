// SPDX-License-Identifier: GPL-3.0-or-later
// RIFF: chunks of an identifier, a little-endian length and data, padded to even lengths. RF64 (EBU Tech 3306): the
// same with 64-bit lengths in a chunk "ds64". AIFF and AIFF-C: the same with big-endian lengths. From memory; WAVE and
// AIFF were compared once with what Python's wave and aifc modules write.
#include "media/sample_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <optional>
#include <string_view>
#include <utility>

#include "base/bytes.h"
#include "lacuna/states.h"
#include "lacuna/tracks.h"
#include "media/unit_reader.h"

namespace lacuna {
namespace {

constexpr int kMaxSampleChunks = 1000;  // before the samples; hostile files could have millions
constexpr std::uint64_t kMostSampleBytes = kMaxSectors * kRawSectorBytes;
constexpr std::uint32_t kUnknownLength = 0xFFFFFFFF;

enum class SampleForm : std::uint8_t { kNone, kWave, kRf64, kAiff, kAifc };

SampleForm form_of(Bytes head) {
  const std::string_view id = as_text(head).substr(0, 4), kind = as_text(head).substr(8, 4);
  if (kind == "WAVE") return id == "RIFF" ? SampleForm::kWave : id == "RF64" ? SampleForm::kRf64 : SampleForm::kNone;
  if (id != "FORM") return SampleForm::kNone;
  return kind == "AIFF" ? SampleForm::kAiff : kind == "AIFC" ? SampleForm::kAifc : SampleForm::kNone;
}

Error no_samples(std::string why) { return {ErrorCode::kBadInput, std::move(why)}; }

struct Chunk {
  std::string_view id;
  std::uint64_t at_byte = 0;  // of its data
  std::uint64_t bytes = 0;
};

class ChunkWalk {
 public:
  ChunkWalk(const ByteStore& store, bool big_endian) : store_(store), big_endian_(big_endian) {}

  std::optional<Chunk> next() {
    if (++count_ > kMaxSampleChunks || !read_exactly(store_, at_byte_, head_)) return std::nullopt;
    const Chunk chunk{as_text(head_).substr(0, 4), at_byte_ + head_.size(),
                      big_endian_ ? be32(head_, 4) : le32(head_, 4)};
    at_byte_ = chunk.at_byte + chunk.bytes + chunk.bytes % 2;
    return chunk;
  }

 private:
  const ByteStore& store_;
  bool big_endian_;
  int count_ = 0;
  std::uint64_t at_byte_ = 12;  // behind "RIFF", the length and "WAVE"
  std::array<std::uint8_t, 8> head_{};
};

std::string why_not_of_a_cd(std::uint64_t channels, std::uint64_t rate, std::uint64_t bits) {
  if (channels == 2 && rate == 44100 && bits == 16) return {};
  return fmt::format("holds {} channels of {} Hz and {} bits, where a CD has 2 of 44100 Hz and 16 bits", channels, rate,
                     bits);
}

Samples within(const ByteStore& store, std::uint64_t at_byte, std::uint64_t bytes, bool big_endian) {
  const std::uint64_t there = store.size_bytes() - std::min(at_byte, store.size_bytes());
  return {at_byte, std::min(bytes, there), std::min(bytes, kMostSampleBytes), big_endian};
}

Result<Samples> find_in_wave(const ByteStore& store, bool rf64) {
  ChunkWalk walk(store, false);
  std::uint64_t long_bytes = 0;
  bool fits = false;
  while (const std::optional<Chunk> chunk = walk.next()) {
    if (chunk->id == "ds64" && chunk->bytes >= 16) {
      std::array<std::uint8_t, 16> sizes{};
      if (read_exactly(store, chunk->at_byte, sizes)) long_bytes = le64(sizes, 8);
    } else if (chunk->id == "fmt " && chunk->bytes >= 16) {
      std::array<std::uint8_t, 26> format{};
      const std::size_t bytes = chunk->bytes >= format.size() ? format.size() : 16;
      if (!read_exactly(store, chunk->at_byte, std::span(format).first(bytes))) break;
      // 1: PCM; FFFE: told by the first two bytes of the subformat.
      const std::uint16_t tag = le16(format, 0) == 0xFFFE && bytes == 26 ? le16(format, 24) : le16(format, 0);
      if (tag != 1) return no_samples(fmt::format("holds sound of format {}, not plain samples", tag));
      if (std::string why = why_not_of_a_cd(le16(format, 2), le32(format, 4), le16(format, 14)); !why.empty()) {
        return no_samples(std::move(why));
      }
      fits = true;
    } else if (chunk->id == "data") {
      if (!fits) return no_samples("does not say how its samples are made before they begin");
      if (chunk->bytes == kUnknownLength) {
        // RF64 keeps the length elsewhere; a writer that could not go back left it open, up to the end of the file.
        const std::uint64_t rest = store.size_bytes() - std::min(chunk->at_byte, store.size_bytes());
        return within(store, chunk->at_byte, rf64 ? long_bytes : rest, false);
      }
      return within(store, chunk->at_byte, chunk->bytes, false);
    }
  }
  return no_samples("holds no samples");
}

// The 80-bit number of AIFF's sample rate (IEEE 754 extended), where it is whole and small.
std::uint64_t extended_whole(Bytes b) {
  const int exponent = be16(b, 0) - 16383;
  if (exponent < 0 || exponent > 31) return 0;
  return be32(b, 2) >> (31 - exponent);
}

Result<Samples> find_in_aiff(const ByteStore& store, bool compressed_kind) {
  ChunkWalk walk(store, true);
  bool fits = false;
  bool little_endian = false;
  std::optional<Samples> samples;
  while (const std::optional<Chunk> chunk = walk.next()) {
    if (chunk->id == "COMM" && chunk->bytes >= 18) {
      std::array<std::uint8_t, 22> common{};
      const std::size_t bytes = compressed_kind && chunk->bytes >= common.size() ? common.size() : 18;
      if (!read_exactly(store, chunk->at_byte, std::span(common).first(bytes))) break;
      const std::string_view kind = as_text(common).substr(18, 4);
      if (compressed_kind && kind != "NONE" && kind != "sowt") return no_samples("holds compressed sound");
      little_endian = compressed_kind && kind == "sowt";
      const std::uint64_t rate = extended_whole(Bytes(common).subspan(8, 10));
      if (std::string why = why_not_of_a_cd(be16(common, 0), rate, be16(common, 6)); !why.empty()) {
        return no_samples(std::move(why));
      }
      fits = true;
    } else if (chunk->id == "SSND" && chunk->bytes >= 8) {
      std::array<std::uint8_t, 8> head{};
      if (!read_exactly(store, chunk->at_byte, head)) break;
      const std::uint64_t offset = be32(head, 0);
      const std::uint64_t bytes = chunk->bytes - 8 - std::min(offset, chunk->bytes - 8);
      samples = within(store, chunk->at_byte + 8 + offset, bytes, true);
    }
    if (fits && samples) {  // either may come first
      samples->big_endian = !little_endian;
      return *samples;
    }
  }
  return no_samples("holds no samples, or does not say how they are made");
}

}  // namespace

bool read_exactly(const ByteStore& store, std::uint64_t at_byte, std::span<std::uint8_t> out) {
  if (at_byte > store.size_bytes() || out.size() > store.size_bytes() - at_byte) return false;
  return read_fully(store, at_byte, out) == out.size();
}

bool is_sample_file(const ByteStore& store) {
  std::array<std::uint8_t, 12> head{};
  return read_exactly(store, 0, head) && form_of(head) != SampleForm::kNone;
}

Result<Samples> find_samples(const ByteStore& store) {
  std::array<std::uint8_t, 12> head{};
  const SampleForm form = read_exactly(store, 0, head) ? form_of(head) : SampleForm::kNone;
  if (form == SampleForm::kNone) return no_samples("is no WAVE or AIFF file");
  const bool is_wave = form == SampleForm::kWave || form == SampleForm::kRf64;
  return is_wave ? find_in_wave(store, form == SampleForm::kRf64) : find_in_aiff(store, form == SampleForm::kAifc);
}

}  // namespace lacuna
