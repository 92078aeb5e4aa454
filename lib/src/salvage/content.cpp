// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/content.h"

#include <algorithm>
#include <cstring>
#include <optional>

#define ZLIB_CONST
#include <zlib.h>

#include "salvage/gaps.h"
#include "salvage/pieces.h"
#include "salvage/raw_reader.h"
#include "salvage/stored_reader.h"
#include "salvage/zisofs_blocks.h"

namespace lacuna {
namespace {

/// One zlib stream after the other.
class Inflater {
 public:
  Inflater() { ready_ = inflateInit_(&z_, ZLIB_VERSION, static_cast<int>(sizeof z_)) == Z_OK; }
  ~Inflater() {
    if (ready_) inflateEnd(&z_);
  }
  Inflater(const Inflater&) = delete;
  Inflater& operator=(const Inflater&) = delete;

  /// True when `in` is a complete stream, its check value included, of exactly out.size() bytes.
  bool decode(std::span<const std::uint8_t> in, std::span<std::uint8_t> out) {
    if (!ready_ || inflateReset(&z_) != Z_OK) return false;
    z_.next_in = in.data();
    z_.avail_in = static_cast<uInt>(in.size());
    z_.next_out = out.data();
    z_.avail_out = static_cast<uInt>(out.size());
    return inflate(&z_, Z_FINISH) == Z_STREAM_END && z_.avail_out == 0;
  }

 private:
  z_stream z_{};
  bool ready_ = false;
};

/// Decodes a zisofs file block by block and keeps the last block.
class ZisofsReader {
 public:
  ZisofsReader(StoredReader& stored, const Zisofs& facts, std::uint64_t plain_bytes)
      : stored_(stored), blocks_(stored, facts, plain_bytes) {}

  void read(std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps) {
    if (!blocks_.usable()) {
      std::memset(out.data(), 0, out.size());
      append_gap(gaps, offset, out.size(), SectorState::kBad);
      return;
    }
    while (!out.empty()) {
      const std::uint64_t index = offset / blocks_.block_bytes();
      const auto within = static_cast<std::size_t>(offset % blocks_.block_bytes());
      if (index != loaded_) load(index);
      const std::size_t take = std::min(out.size(), plain_.size() - within);
      std::memcpy(out.data(), plain_.data() + within, take);
      if (!is_sound(state_)) append_gap(gaps, offset, take, state_);
      out = out.subspan(take);
      offset += take;
    }
  }

 private:
  void load(std::uint64_t index) {
    loaded_ = kNone;  // until it is there: reading may throw
    plain_.resize(blocks_.plain_bytes_of(index));
    state_ = decode(blocks_.block(index));
    if (!has_bytes(state_)) std::fill(plain_.begin(), plain_.end(), std::uint8_t{0});
    loaded_ = index;
  }

  SectorState decode(const ZisofsBlocks::Block& b) {
    if (!has_bytes(b.pointers)) return b.pointers;
    if (b.first == b.end) {
      std::fill(plain_.begin(), plain_.end(), std::uint8_t{0});
      return b.pointers;
    }
    packed_.resize(static_cast<std::size_t>(b.end - b.first));
    packed_gaps_.clear();
    stored_.read(b.first, packed_, packed_gaps_);
    SectorState state = b.pointers;
    for (const Gap& g : packed_gaps_) state = std::max(state, g.state);
    if (!has_bytes(state)) return state;
    return inflater_.decode(packed_, plain_) ? state : SectorState::kBad;
  }

  static constexpr std::uint64_t kNone = ~std::uint64_t{0};
  StoredReader& stored_;
  ZisofsBlocks blocks_;
  Inflater inflater_;
  std::vector<std::uint8_t> packed_, plain_;
  std::vector<Gap> packed_gaps_;
  std::uint64_t loaded_ = kNone;
  SectorState state_ = SectorState::kGood;  // of the loaded block
};

}  // namespace

struct LACUNA_LOCAL FileReader::Impl {
  Impl(const Disc& disc, NodeId id) : Impl(disc, disc.tree().node(id)) {
    if (disc.tree().node(id).has(node_flag::kRawSectors)) raw.emplace(disc, id);
  }
  Impl(const Disc& disc, const Node& file)
      : size(file.size),
        compressed(is_compressed(disc.tree(), file)),
        facts(compressed ? *disc.tree().details(file).zisofs : Zisofs{}),
        stored(disc.image(), file.has(node_flag::kUnlocated) ? std::span<const Extent>{} : disc.tree().extents(file),
               compressed ? ~std::uint64_t{0} : file.size) {}

  std::uint64_t size;
  bool compressed;
  Zisofs facts;
  StoredReader stored;
  std::optional<ZisofsReader> plain;  // made on the first read, since that reads the table
  std::optional<RawReader> raw;
};

FileReader::FileReader(const Disc& disc, NodeId file) : impl_(std::make_unique<Impl>(disc, file)) {}
FileReader::~FileReader() = default;
FileReader::FileReader(FileReader&&) noexcept = default;

std::uint64_t FileReader::size() const noexcept { return impl_->size; }

std::size_t FileReader::read(std::uint64_t offset, std::span<std::uint8_t> out, std::vector<Gap>& gaps) {
  Impl& i = *impl_;
  if (offset >= i.size || out.empty()) return 0;
  out = out.first(static_cast<std::size_t>(std::min<std::uint64_t>(out.size(), i.size - offset)));
  if (i.raw) {
    i.raw->read(offset, out, gaps);
  } else if (!i.compressed) {
    i.stored.read(offset, out, gaps);
  } else {
    if (!i.plain) i.plain.emplace(i.stored, i.facts, i.size);
    i.plain->read(offset, out, gaps);
  }
  return out.size();
}

}  // namespace lacuna
