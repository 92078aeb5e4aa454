// SPDX-License-Identifier: GPL-3.0-or-later
// What a sector is and whether it proves itself; its repair is in repair.cpp.
#include "media/cd/sector.h"

#include <algorithm>

#include "media/cd/edc.h"
#include "media/cd/forms.h"

namespace lacuna::cd {
namespace {

constexpr std::array<std::uint8_t, kSyncBytes> kSync{0, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 0};

/// Two digits, or nothing.
std::optional<std::int32_t> bcd(std::uint8_t v) noexcept {
  if ((v >> 4) > 9 || (v & 15) > 9) return std::nullopt;
  return (v >> 4) * 10 + (v & 15);
}

std::uint8_t to_bcd(std::int32_t v) noexcept { return static_cast<std::uint8_t>(v / 10 * 16 + v % 10); }

// Minutes from 90 on are of the lead-in, which ends where minute 0 begins.
constexpr std::int32_t kFramesAMinute = 60 * 75, kPregap = 150, kLeadInMinute = 90, kAllMinutes = 100;

/// Sync and address are such as they must be.
bool framed(Bytes s, const Expected& e) noexcept {
  if (!has_sync(s)) return false;
  const auto lba = header_lba(s[12], s[13], s[14]);
  return lba && (!e.lba || *lba == *e.lba);
}

Sector of_form(SectorForm form, SectorState state, bool proven) noexcept {
  Sector r;
  r.state = state;
  r.proven = proven;
  r.form = form;
  const FormLayout layout = layout_of(form);
  r.data_at = layout.data_at;
  r.data_bytes = layout.data_bytes;
  return r;
}

/// As a sector of its neighbours' form, or of the one that it tells.
Sector bad(Bytes s, SectorForm told, const Expected& e) noexcept {
  if (e.form != SectorForm::kUnknown) return of_form(e.form, SectorState::kBad, false);
  return of_form(has_sync(s) ? told : SectorForm::kUnknown, SectorState::kBad, false);
}

/// A sector whose bytes can't prove themselves, of a form that its bytes tell.
Sector unproven(SectorForm form, Bytes s, const Expected& e) noexcept {
  if (e.erasures != nullptr && e.erasures->any()) return bad(s, form, e);
  if (framed(s, e)) return of_form(form, SectorState::kGood, false);
  // Without a sync only the neighbours say that this is one of them, such as zeros among mode 0.
  if (has_sync(s) || e.form == form) return of_form(form, SectorState::kSuspect, false);
  return bad(s, form, e);
}

Sector at_best_suspect(Sector r) noexcept {
  r.state = std::max(r.state, SectorState::kSuspect);
  return r;
}

Sector look_at_form(Bytes s, const Expected& e) noexcept {
  const SectorForm told = told_form(s);
  bool says_nothing = false;
  for (const SectorForm form : coded_forms(told, e.form)) {
    switch (compare_edc(s, form)) {
      case EdcAnswer::kAgrees:
        return of_form(form, SectorState::kGood, true);
      case EdcAnswer::kSaysNothing:
        if (form == told) says_nothing = true;
        break;
      case EdcAnswer::kDisagrees:
        break;
    }
    // Video and sound without an EDC: no other form's need be asked.
    if (says_nothing) return unproven(told, s, e);
  }
  if (told == SectorForm::kMode0 && all_zero(s.subspan(16))) return unproven(told, s, e);
  if (told == SectorForm::kMode2 && e.form == SectorForm::kForm2 && le32(s, layout_of(e.form).edc_at) == 0) {
    return at_best_suspect(unproven(e.form, s, e));  // its subheader is hurt
  }
  // A formless sector can't be told from one whose subheader is hurt, nor from one whose first words look like a
  // subheader, but by its neighbours.
  const bool mode_2 = (s[15] & 3) == 2;
  if (mode_2 && e.form == SectorForm::kMode2) return unproven(e.form, s, e);
  if (told == SectorForm::kMode2 && e.form == SectorForm::kUnknown) {
    return at_best_suspect(unproven(told, s, e));
  }
  return bad(s, told, e);
}

}  // namespace

bool has_sync(Bytes sector) noexcept {
  return sector.size() >= kSyncBytes && std::equal(kSync.begin(), kSync.end(), sector.begin());
}

void put_sync(RawSpan sector) noexcept { std::ranges::copy(kSync, sector.begin()); }

std::optional<std::int32_t> header_lba(std::uint8_t minutes, std::uint8_t seconds, std::uint8_t frames) noexcept {
  const auto m = bcd(minutes), s = bcd(seconds), f = bcd(frames);
  if (!m || !s || !f || *s >= 60 || *f >= 75) return std::nullopt;
  const std::int32_t minute = *m >= kLeadInMinute ? *m - kAllMinutes : *m;
  return minute * kFramesAMinute + *s * 75 + *f - kPregap;
}

std::optional<std::array<std::uint8_t, 3>> header_address(std::int32_t lba) noexcept {
  if (lba < (kLeadInMinute - kAllMinutes) * kFramesAMinute - kPregap ||
      lba >= kLeadInMinute * kFramesAMinute - kPregap) {
    return std::nullopt;
  }
  std::int32_t frames = lba + kPregap;
  if (frames < 0) frames += kAllMinutes * kFramesAMinute;
  return std::array{to_bcd(frames / kFramesAMinute), to_bcd(frames / 75 % 60), to_bcd(frames % 75)};
}

Sector look(Bytes sector, const Expected& expected) noexcept {
  if (sector.size() != kRawSectorBytes) return {};
  if (expected.form == SectorForm::kAudio) {
    const bool missing = expected.erasures != nullptr && expected.erasures->any();
    return of_form(SectorForm::kAudio, missing ? SectorState::kBad : SectorState::kGood, false);
  }
  Sector r = look_at_form(sector, expected);
  if (has_sync(sector)) r.lba = header_lba(sector[12], sector[13], sector[14]);
  return r;
}

Sector prove(RawSpan sector, const Expected& expected) noexcept {
  Sector r = look(sector, expected);
  if (r.state == SectorState::kGood || expected.form == SectorForm::kAudio) return r;
  const Repair done = repair(sector, expected);
  if (done.form == SectorForm::kUnknown) return r;
  r = of_form(done.form, SectorState::kRepaired, true);
  r.corrected_bytes = done.corrected_bytes;
  if (has_sync(sector)) r.lba = header_lba(sector[12], sector[13], sector[14]);
  return r;
}

}  // namespace lacuna::cd
