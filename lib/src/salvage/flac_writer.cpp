// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/flac_writer.h"

#include <sndfile.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <string_view>

#include "base/bytes.h"
#include "base/utf8.h"

namespace lacuna {
namespace {

constexpr int kFlacRate = 44100;
constexpr std::size_t kFlacChannels = 2;
constexpr std::size_t kFrameBytes = kFlacChannels * sizeof(std::int16_t);

constexpr std::size_t kMostTagBytes = 1000;

/// Text that is fit for a tag. Of one that libFLAC refuses (ill-formed UTF-8, U+FFFE, U+FFFF) libsndfile 1.2.0 frees the
/// memory twice, so none may get there.
std::string tag_text(std::string_view text) {
  constexpr std::string_view kReplacement = "\xEF\xBF\xBD";  // U+FFFD
  std::string out;
  for (std::size_t at = 0; at < text.size() && out.size() < kMostTagBytes;) {
    const CodePoint c = code_point_at(text, at);
    if (!c.well_formed() || c.value == 0xFFFE || c.value == 0xFFFF) {
      out += kReplacement;
    } else if (c.value < 0x20 || c.value == 0x7F) {
      out += ' ';
    } else {
      out += text.substr(at, c.length);
    }
    at += c.length;
  }
  return out;
}

/// The file as libsndfile sees it.
struct Target {
  PartFile* file = nullptr;
  std::uint64_t at = 0, bytes = 0;
  int error = 0;
};

Target& target_of(void* user) { return *static_cast<Target*>(user); }

sf_count_t length_of(void* user) { return static_cast<sf_count_t>(target_of(user).bytes); }

sf_count_t seek_in(sf_count_t offset, int whence, void* user) {
  Target& t = target_of(user);
  const auto base = whence == SEEK_SET ? 0 : static_cast<sf_count_t>(whence == SEEK_END ? t.bytes : t.at);
  if (base + offset < 0) return -1;
  t.at = static_cast<std::uint64_t>(base + offset);
  return static_cast<sf_count_t>(t.at);
}

sf_count_t read_from(void* out, sf_count_t count, void* user) {
  Target& t = target_of(user);
  std::size_t got = 0;
  t.error = read_fully_at(t.file->fd(), t.at, {static_cast<std::uint8_t*>(out), static_cast<std::size_t>(count)}, got);
  t.at += got;
  return static_cast<sf_count_t>(got);
}

sf_count_t write_to(const void* bytes, sf_count_t count, void* user) {
  Target& t = target_of(user);
  if (t.error == 0) {
    t.error = t.file->write_at(t.at, {static_cast<const std::uint8_t*>(bytes), static_cast<std::size_t>(count)});
  }
  if (t.error != 0) return 0;
  t.at += static_cast<std::uint64_t>(count);
  t.bytes = std::max(t.bytes, t.at);
  return count;
}

sf_count_t place_in(void* user) { return static_cast<sf_count_t>(target_of(user).at); }

}  // namespace

struct FlacWriter::Impl {
  Target target;
  SNDFILE* sound = nullptr;
  std::vector<std::int16_t> samples;

  ~Impl() {
    if (sound != nullptr) sf_close(sound);
  }
  void tag(int what, const std::string& text) {
    if (!text.empty()) sf_set_string(sound, what, tag_text(text).c_str());
  }
};

FlacWriter::FlacWriter() = default;
FlacWriter::~FlacWriter() = default;

int FlacWriter::start(PartFile& file, const FlacTags& tags) {
  impl_ = std::make_unique<Impl>();
  impl_->target.file = &file;
  SF_VIRTUAL_IO io{length_of, seek_in, read_from, write_to, place_in};
  SF_INFO info{};
  info.samplerate = kFlacRate;
  info.channels = kFlacChannels;
  info.format = SF_FORMAT_FLAC | SF_FORMAT_PCM_16;
  impl_->sound = sf_open_virtual(&io, SFM_WRITE, &info, &impl_->target);
  if (impl_->sound == nullptr) return impl_->target.error != 0 ? impl_->target.error : EOPNOTSUPP;
  impl_->tag(SF_STR_TITLE, tags.title);
  impl_->tag(SF_STR_ARTIST, tags.artist);
  impl_->tag(SF_STR_TRACKNUMBER, tags.track);
  return 0;
}

int FlacWriter::write(std::span<const std::uint8_t> frames) {
  std::vector<std::int16_t>& samples = impl_->samples;
  samples.resize(frames.size() / sizeof(std::int16_t));
  for (std::size_t i = 0; i < samples.size(); ++i) {
    samples[i] = static_cast<std::int16_t>(le16(frames, i * sizeof(std::int16_t)));
  }
  const auto count = static_cast<sf_count_t>(frames.size() / kFrameBytes);
  const bool written = sf_writef_short(impl_->sound, samples.data(), count) == count;
  if (written && impl_->target.error == 0) return 0;
  return impl_->target.error != 0 ? impl_->target.error : EIO;
}

int FlacWriter::finish(std::uint64_t& bytes) {
  const int closed = sf_close(impl_->sound);
  impl_->sound = nullptr;
  bytes = impl_->target.bytes;
  if (impl_->target.error != 0) return impl_->target.error;
  return closed == 0 ? 0 : EIO;
}

}  // namespace lacuna
