// SPDX-License-Identifier: GPL-3.0-or-later
// RIFF numbers are little-endian. The "fmt " chunk of WAVE is PCM's 16 bytes; that of CDXA, what common practice puts
// there (both from memory): group, user, attributes, "XA", file number, zeros.
#include "disc/raw_content.h"

#include <algorithm>
#include <string_view>

namespace lacuna {
namespace {

constexpr std::uint32_t kSamplesPerSecond = 44100;
constexpr std::uint16_t kChannels = 2;
constexpr std::uint16_t kSampleBits = 16;
static_assert(kSamplesPerSecond / kSectorsPerSecond * kChannels * kSampleBits / 8 == kRawSectorBytes);

class HeaderWriter {
 public:
  void text(std::string_view s) {
    for (const char c : s) bytes_[at_++] = static_cast<std::uint8_t>(c);
  }
  void u8(std::uint8_t v) { bytes_[at_++] = v; }
  void u16(std::uint16_t v) {
    u8(static_cast<std::uint8_t>(v & 0xFF));
    u8(static_cast<std::uint8_t>(v >> 8));
  }
  void u32(std::uint32_t v) {
    u16(static_cast<std::uint16_t>(v & 0xFFFF));
    u16(static_cast<std::uint16_t>(v >> 16));
  }
  /// A size; what 32 bits can't say is written as the most that they can.
  void size(std::uint64_t v) { u32(static_cast<std::uint32_t>(std::min<std::uint64_t>(v, 0xFFFFFFFF))); }
  void zeros(std::size_t count) { at_ += count; }
  const std::array<std::uint8_t, kRiffHeaderBytes>& bytes() const { return bytes_; }

 private:
  std::array<std::uint8_t, kRiffHeaderBytes> bytes_{};
  std::size_t at_ = 0;
};

}  // namespace

std::array<std::uint8_t, kRiffHeaderBytes> riff_header(const Tree& tree, NodeId id) {
  const Node& n = tree.node(id);
  const RawContent* raw = tree.raw_content(id);
  HeaderWriter w;
  w.text("RIFF");
  w.size(n.size - 8);
  const bool wave = raw == nullptr || raw->header == RawContent::Header::kWave;
  w.text(wave ? "WAVE" : "CDXA");
  w.text("fmt ");
  w.u32(16);
  if (wave) {
    w.u16(1);  // PCM
    w.u16(kChannels);
    w.u32(kSamplesPerSecond);
    w.u32(kSamplesPerSecond * kChannels * kSampleBits / 8);
    w.u16(kChannels * kSampleBits / 8);
    w.u16(kSampleBits);
  } else {
    const NodeDetails& d = tree.details(n);
    w.u16(d.xa_group);
    w.u16(d.xa_user);
    w.u16(d.xa_attributes.value_or(0));
    w.text("XA");
    w.u8(d.xa_file_number);
    w.zeros(7);
  }
  w.text("data");
  w.size(disc_bytes(n));
  return w.bytes();
}

}  // namespace lacuna
