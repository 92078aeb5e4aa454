// SPDX-License-Identifier: GPL-3.0-or-later
// A pack: type, track, number in its block, block and place (bit 7: 16-bit characters; bits 4-6: block, one a
// language), 12 bytes of text, code. Texts of one type follow one another, each ended by 00, track by track. CD-Text
// belongs to the Red Book; from memory, compared with what libcdio 2.1 reads. The code is that of the subchannel
// (ECMA-130 22.3.3.4): x^16 + x^12 + x^5 + 1, inverted.
#include "media/cd_text.h"

#include <array>
#include <cstdint>
#include <optional>

#include "media/sheet_text.h"

namespace lacuna {
namespace {

constexpr std::size_t kPackBytes = 18, kTextAt = 4, kTextBytes = 12;
constexpr std::uint8_t kTitle = 0x80, kPerformer = 0x81;

bool code_agrees(Bytes pack) {
  std::uint32_t code = 0;
  for (const std::uint8_t b : pack.first(kPackBytes - 2)) {
    code ^= std::uint32_t{b} << 8;
    for (int bit = 0; bit < 8; ++bit) code = (code & 0x8000) != 0 ? (code << 1 ^ 0x1021) & 0xFFFF : code << 1 & 0xFFFF;
  }
  return be16(pack, kPackBytes - 2) == (code ^ 0xFFFF);
}

// The texts of one type, out of packs that follow one another.
void gather(Bytes packs, std::uint8_t type, std::array<std::string, 100>& out) {
  std::optional<std::size_t> track;  // none: a pack is missing
  std::optional<std::uint8_t> number;
  std::string text;
  for (; packs.size() >= kPackBytes; packs = packs.subspan(kPackBytes)) {
    const Bytes pack = packs.first(kPackBytes);
    const std::uint8_t place = pack[3];
    if (pack[0] != type || (place & 0xF0) != 0 || !code_agrees(pack)) continue;
    const bool follows = number && static_cast<std::uint8_t>(*number + 1) == pack[2];
    number = pack[2];
    std::size_t at = kTextAt;
    if (!follows) {  // begins anew with the first text that begins in it
      text.clear();
      track = pack[1];
      if ((place & 0x0F) != 0) {
        while (at < kTextAt + kTextBytes && pack[at] != 0) ++at;
        ++at;
        ++*track;
      }
    }
    for (; at < kTextAt + kTextBytes; ++at) {
      if (pack[at] != 0) {
        text += static_cast<char>(pack[at]);
        continue;
      }
      if (*track < out.size() && out[*track].empty()) {
        // A single tab: the same text as that of the track before.
        out[*track] = text == "\t" && *track > 0 ? out[*track - 1] : shown_text(text, SheetCharset::kLatin1);
      }
      text.clear();
      ++*track;
    }
  }
}

}  // namespace

CdText read_cd_text(Bytes packs) {
  CdText text;
  gather(packs, kTitle, text.title);
  gather(packs, kPerformer, text.performer);
  return text;
}

}  // namespace lacuna
