// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/decode/susp.h"

#include <algorithm>

#include "iso9660/decode/xa.h"

namespace lacuna::iso9660 {
namespace {

constexpr std::size_t kHeaderBytes = 4;

bool is_entry(const SuspEntry& e, std::uint16_t signature, std::size_t data_bytes) {
  return e.signature == signature && e.data.size() >= data_bytes;
}

}  // namespace

std::optional<SuspEntry> SuspReader::next() noexcept {
  if (stop_ != Stop::kNone) return {};
  if (rest_.size() < kHeaderBytes) {
    stop_ = Stop::kEnd;
    return {};
  }
  const std::size_t length = rest_[2];
  if (length < kHeaderBytes || length > rest_.size()) {
    const bool zeros = std::ranges::all_of(rest_, [](std::uint8_t c) { return c == 0; });
    stop_ = zeros ? Stop::kPadding : Stop::kBadLength;
    return {};
  }
  SuspEntry e;
  e.signature = be16(rest_, 0);
  e.length = rest_[2];
  e.version = rest_[3];
  e.whole = rest_.first(length);
  e.data = e.whole.subspan(kHeaderBytes);
  rest_ = rest_.subspan(length);
  if (e.signature == susp_signature("ST")) {
    stop_ = Stop::kTerminator;
    return {};
  }
  return e;
}

// SUSP 5.3
std::optional<std::uint8_t> decode_sp(const SuspEntry& e) noexcept {
  if (!is_entry(e, susp_signature("SP"), 3) || e.data[0] != 0xbe || e.data[1] != 0xef) return {};
  return e.data[2];
}

// SUSP 5.1
std::optional<ContinuationArea> decode_ce(const SuspEntry& e) noexcept {
  if (!is_entry(e, susp_signature("CE"), 24)) return {};
  return ContinuationArea{both32(e.data, 0), both32(e.data, 8), both32(e.data, 16)};
}

// SUSP 5.5
std::optional<ExtensionReference> decode_er(const SuspEntry& e) noexcept {
  if (!is_entry(e, susp_signature("ER"), 4)) return {};
  const std::size_t id = e.data[0], descriptor = e.data[1], source = e.data[2];
  const Bytes texts = e.data.subspan(4);
  if (id + descriptor + source > texts.size()) return {};
  return ExtensionReference{e.data[3], texts.first(id), texts.subspan(id, descriptor),
                            texts.subspan(id + descriptor, source)};
}

bool is_rock_ridge(const ExtensionReference& er) noexcept {
  // The name of 1991 and the two spellings of IEEE P1282 that discs carry.
  const std::string_view id = as_text(er.id);
  return id == "RRIP_1991A" || id == "IEEE_P1282" || id == "IEEE_1282";
}

// SUSP 5.6
std::optional<std::uint8_t> decode_es(const SuspEntry& e) noexcept {
  if (!is_entry(e, susp_signature("ES"), 1)) return {};
  return e.data[0];
}

std::optional<std::uint8_t> infer_skip(Bytes system_use) noexcept {
  for (const std::size_t skip : {std::size_t{0}, kXaBytes}) {
    SuspReader reader(system_use, skip);
    bool met = false;
    while (const auto e = reader.next()) {
      met |= e->version == 1 && ((is_entry(*e, susp_signature("PX"), 32)) || is_entry(*e, susp_signature("NM"), 1) ||
                                 is_entry(*e, susp_signature("TF"), 8));
    }
    if (met && reader.stop() != SuspReader::Stop::kBadLength) return static_cast<std::uint8_t>(skip);
  }
  return {};
}

}  // namespace lacuna::iso9660
