// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as a raw sector, behind four of options: its repair is bounded, leaves a bad sector alone, and what it
// calls good or repaired proves itself when looked at again.
#include <algorithm>
#include <array>

#include "fuzz/promise.h"
#include "media/cd/edc.h"
#include "media/cd/sector.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace lacuna;
  using test::require;
  constexpr std::size_t kOptions = 4;
  const Bytes input(data, size);
  require(cd::edc(input) == cd::edc_by_tables(input), "each way of reckoning gives the same EDC");
  if (size < kOptions) return 0;
  const cd::Sector any = cd::look(input.subspan(kOptions));
  require(size - kOptions == kRawSectorBytes || any.state == SectorState::kBad);

  std::array<std::uint8_t, kRawSectorBytes> given{};
  const Bytes bytes = input.subspan(kOptions, std::min<std::size_t>(size - kOptions, kRawSectorBytes));
  std::ranges::copy(bytes, given.begin());
  cd::Expected expected;
  expected.form = static_cast<SectorForm>(data[0] % kSectorFormCount);
  if ((data[1] & 1) != 0) expected.lba = static_cast<std::int32_t>(data[2]) * 2000 - 50000;
  if ((data[1] & 2) != 0) expected.lba = 16;
  cd::ErasureSet erasures;
  for (std::size_t at = 0; at < kRawSectorBytes; ++at) erasures.set(at, (at * (data[3] | 1u) >> 4 & 15) == 0);
  if ((data[1] & 4) != 0) expected.erasures = &erasures;

  auto sector = given;
  const cd::Sector r = cd::prove(sector, expected);
  require(r.data_at + r.data_bytes <= kRawSectorBytes);
  require(static_cast<int>(r.form) < kSectorFormCount);
  if (r.state != SectorState::kRepaired) {
    require(sector == given, "what isn't repaired isn't changed");
    require(r.corrected_bytes == 0);
    const cd::Sector looked = cd::look(given, expected);
    require(looked.state == r.state && looked.form == r.form && looked.proven == r.proven && looked.lba == r.lba);
    return 0;
  }
  require(r.proven && r.corrected_bytes > 0 && sector != given);
  expected.erasures = nullptr;
  const cd::Sector again = cd::look(sector, expected);
  require(again.state == SectorState::kGood && again.proven && again.form == r.form, "what is repaired is proven");
  return 0;
}
