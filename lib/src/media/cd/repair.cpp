// SPDX-License-Identifier: GPL-3.0-or-later
// Repair of a sector that does not prove itself. Facts of position go in first (sync, address), then the parity
// corrects; each attempt counts only when the EDC agrees in the end. How many there may be is stated at prove().
#include <algorithm>
#include <utility>

#include "media/cd/correction.h"
#include "media/cd/forms.h"

namespace lacuna::cd {
namespace {

bool agrees(const RawSector& s, SectorForm form) noexcept { return compare_edc(s, form) == EdcAnswer::kAgrees; }

class Repairer {
 public:
  Repairer(RawSpan sector, const Expected& expected) noexcept : sector_(sector), expected_(expected) {
    std::ranges::copy(sector, given_.begin());
  }

  Repair run() noexcept {
    const SectorForm told = told_form(given_);
    for (const SectorForm form : coded_forms(told, expected_.form)) {
      // The parity of a form that neither the neighbours nor the sector itself say is tried only where there are no
      // neighbours.
      if (form != SectorForm::kForm2 && form != told && form != expected_.form &&
          expected_.form != SectorForm::kUnknown) {
        continue;
      }
      const bool repaired = form == SectorForm::kMode1   ? repair_mode_1()
                            : form == SectorForm::kForm1 ? repair_form_1()
                                                         : repair_subheader(SectorForm::kForm2);
      if (!repaired) continue;
      Repair r{form, 0};
      for (std::size_t i = 0; i < kRawSectorBytes; ++i) {
        r.corrected_bytes = static_cast<std::uint16_t>(r.corrected_bytes + (sector_[i] != work_[i] ? 1 : 0));
      }
      std::ranges::copy(work_, sector_.begin());
      return r;
    }
    return {};
  }

 private:
  /// By the sync and the address that it must have, and failing that by the address that it has.
  bool repair_mode_1() noexcept {
    RawSector start = given_;
    put_sync(start);
    const auto address = expected_.lba ? header_address(*expected_.lba) : std::nullopt;
    if (address) {
      RawSector addressed = start;
      std::ranges::copy(*address, addressed.begin() + kHeaderAt);
      if ((addressed[kModeAt] & 0x1f) != 1) addressed[kModeAt] = 1;
      if (repair_from(addressed, SectorForm::kMode1)) return true;
      if (addressed == start) return false;
    }
    return repair_from(start, SectorForm::kMode1);
  }

  /// Its sync and header stay as they are: no code covers them.
  bool repair_form_1() noexcept {
    if (repair_subheader(SectorForm::kForm1)) return true;
    RawSector start = given_;
    std::fill_n(start.begin() + kHeaderAt, kSubheaderAt - kHeaderAt, std::uint8_t{0});
    if (!repair_from(start, SectorForm::kForm1)) return false;
    std::copy_n(given_.begin(), kSubheaderAt, work_.begin());
    return true;
  }

  /// The subheader is recorded twice: by either copy.
  bool repair_subheader(SectorForm form) noexcept {
    constexpr std::size_t kFirst = kSubheaderAt, kSecond = kSubheaderAt + kSubheaderBytes;
    if (std::equal(given_.begin() + kFirst, given_.begin() + kSecond, given_.begin() + kSecond)) return false;
    for (const auto& [from, to] : {std::pair{kFirst, kSecond}, std::pair{kSecond, kFirst}}) {
      work_ = given_;
      std::copy_n(given_.begin() + static_cast<std::ptrdiff_t>(from), kSubheaderBytes,
                  work_.begin() + static_cast<std::ptrdiff_t>(to));
      if (agrees(work_, form)) return true;
    }
    return false;
  }

  /// With what is known to be missing, then as if nothing were.
  bool repair_from(const RawSector& start, SectorForm form) noexcept {
    if (form == SectorForm::kMode1 && agrees(start, form)) {
      work_ = start;
      return true;
    }
    CorrectionInput input;
    input.syndromes = syndromes(start);
    input.header_is_zero = form == SectorForm::kForm1;
    if (expected_.erasures != nullptr && expected_.erasures->any()) {
      input.erasures = expected_.erasures;
      if (repair_by(start, input, form)) return true;
      input.erasures = nullptr;
    }
    return repair_by(start, input, form);
  }

  bool repair_by(const RawSector& start, CorrectionInput input, SectorForm form) noexcept {
    for (const FirstBy first : {FirstBy::kP, FirstBy::kQ}) {
      input.first = first;
      work_ = start;
      const Correction left = correct(work_, input);
      if (left.failing_columns == 0 && agrees(work_, form)) {
        // With P and the EDC right the Q parity itself is what is wrong.
        if (left.failing_diagonals != 0) encode_q_parity(work_);
        return true;
      }
      if (left.failing_columns + left.failing_diagonals > kMostFailing) return false;
    }
    return false;
  }

  RawSpan sector_;
  const Expected& expected_;
  RawSector given_;
  RawSector work_;
};

}  // namespace

Repair repair(RawSpan sector, const Expected& expected) noexcept { return Repairer(sector, expected).run(); }

}  // namespace lacuna::cd
