// SPDX-License-Identifier: GPL-3.0-or-later
// Pulling an audio track in another form than its content has: as FLAC.
#include <fmt/format.h>

#include <cerrno>

#include "disc/raw_content.h"
#include "salvage/flac_writer.h"
#include "salvage/pull_file.h"
#include "salvage/same_bytes.h"

namespace lacuna {

/// Of a track that is not damaged: as was asked for.
bool FilePuller::becomes_flac(const PullItem& item) const {
  if (work_.options.audio_format != AudioFormat::kFlac || item.state > FileState::kDoubtful) return false;
  const RawContent* raw = work_.disc.tree().raw_content(item.node);
  return raw != nullptr && raw->header == RawContent::Header::kWave && raw->track.has_value();
}

/// A track as FLAC. Its checksums are those of the file, which is read back: its first bytes are written last.
FilePuller::Reading FilePuller::encode(PullItem& item, PartFile& part, const Directory& dir) {
  const RawContent& raw = *work_.disc.tree().raw_content(item.node);
  FlacWriter flac;
  if (refusal_ = part.create(dir, work_.record.part_name()); refusal_ != 0) return Reading::kRefused;
  refusal_ = flac.start(part, {raw.title, raw.performer, fmt::to_string(raw.track.value_or(0))});
  if (refusal_ != 0) return Reading::kRefused;
  const Reading reading = read(item, [&](std::uint64_t offset, std::span<const std::uint8_t> bytes) {
    return flac.write(offset == 0 ? bytes.subspan(kRiffHeaderBytes) : bytes);
  });
  if (reading != Reading::kRead) return reading;
  std::uint64_t written = 0;
  if (refusal_ = flac.finish(written); refusal_ != 0) return Reading::kRefused;
  hasher_.start();
  other_.resize(buffer_.size());
  for (std::uint64_t at = 0; at < written;) {
    if (work_.stop) return Reading::kStopped;
    std::size_t got = 0;
    refusal_ = read_fully_at(part.fd(), at, other_, got);
    if (refusal_ == 0 && got == 0) refusal_ = EIO;
    if (refusal_ != 0) return Reading::kRefused;
    hasher_.add(std::span(other_).first(got));
    at += got;
  }
  item.sums = hasher_.finish();
  item.target_bytes = written;
  return Reading::kRead;
}

/// Whether a file that is there has the bytes of one that was made.
bool FilePuller::is_same(const PartFile& part, const Directory& dir, std::string_view name) {
  return has_same_bytes(dir, name, part.fd(), buffer_);
}

}  // namespace lacuna
