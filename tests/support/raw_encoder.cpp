// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/raw_encoder.h"

#include <algorithm>
#include <vector>

namespace lacuna::test {
namespace {

/// Bit i: the coefficient of x^i.
std::uint64_t product_of_polynomials(std::uint64_t a, std::uint64_t b) {
  std::uint64_t sum = 0;
  for (unsigned i = 0; i < 32; ++i) {
    if ((b >> i & 1) != 0) sum ^= a << i;
  }
  return sum;
}

/// ECMA-130 A.3: GF(2^8) by x^8+x^4+x^3+x^2+1, by shifts and additions.
unsigned field_product(unsigned a, unsigned b) {
  const auto product = static_cast<unsigned>(product_of_polynomials(a, b));
  unsigned rest = product;
  for (int bit = 14; bit >= 8; --bit) {
    if ((rest >> bit & 1) != 0) rest ^= 0x11du << (bit - 8);
  }
  return rest;
}

/// Finds the last two symbols such that both checks hold: the sum of all n, and the sum of symbol i times alpha to the
/// n-1-i, by trying.
void complete(RawSector& sector, const std::vector<std::size_t>& at) {
  const std::size_t n = at.size();
  unsigned sum = 0, weighted = 0, weight = 1;
  for (std::size_t i = n; i-- > 0;) {
    if (i < n - 2) {
      sum ^= sector[at[i]];
      weighted ^= field_product(weight, sector[at[i]]);
    }
    weight = field_product(weight, 2);
  }
  for (unsigned a = 0; a < 256; ++a) {
    const unsigned b = sum ^ a;
    if ((weighted ^ field_product(2, a) ^ b) != 0) continue;
    sector[at[n - 2]] = static_cast<std::uint8_t>(a);
    sector[at[n - 1]] = static_cast<std::uint8_t>(b);
    return;
  }
}

std::uint8_t bcd(std::int32_t v) { return static_cast<std::uint8_t>((v / 10) << 4 | v % 10); }

void put_edc(RawSector& sector, std::size_t from, std::size_t at) {
  const std::uint32_t edc = edc_by_division(Bytes(sector).subspan(from, at - from));
  for (unsigned i = 0; i < 4; ++i) sector[at + i] = static_cast<std::uint8_t>(edc >> (8 * i));
}

}  // namespace

std::uint32_t edc_by_division(Bytes bytes) {
  const std::uint64_t polynomial = product_of_polynomials(0x18005, 0x10007);  // both factors as the standard has them
  std::uint64_t rest = 0;
  const auto bring_down = [&](unsigned bit) {
    rest = rest << 1 | bit;
    if ((rest >> 32 & 1) != 0) rest ^= polynomial;
  };
  for (const std::uint8_t byte : bytes) {
    for (unsigned i = 0; i < 8; ++i) bring_down(byte >> i & 1);
  }
  for (unsigned i = 0; i < 32; ++i) bring_down(0);
  std::uint32_t recorded = 0;  // the highest power is sent first, as the least significant bit of the first byte
  for (unsigned i = 0; i < 32; ++i) recorded |= static_cast<std::uint32_t>(rest >> (31 - i) & 1) << i;
  return recorded;
}

void put_parity(RawSector& sector, bool header_is_zero) {
  std::array<std::uint8_t, 4> header{};
  std::copy_n(sector.begin() + 12, 4, header.begin());
  if (header_is_zero) std::fill_n(sector.begin() + 12, 4, std::uint8_t{0});
  for (std::size_t plane = 0; plane < 2; ++plane) {
    for (std::size_t np = 0; np < 43; ++np) {
      std::vector<std::size_t> at;
      for (std::size_t mp = 0; mp < 26; ++mp) at.push_back(12 + 2 * (43 * mp + np) + plane);
      complete(sector, at);
    }
    for (std::size_t nq = 0; nq < 26; ++nq) {
      std::vector<std::size_t> at;
      for (std::size_t mq = 0; mq < 43; ++mq) at.push_back(12 + 2 * ((44 * mq + 43 * nq) % 1118) + plane);
      at.push_back(12 + 2 * (1118 + nq) + plane);
      at.push_back(12 + 2 * (1144 + nq) + plane);
      complete(sector, at);
    }
  }
  std::copy_n(header.begin(), 4, sector.begin() + 12);
}

RawSector encode_raw(SectorForm form, std::int32_t lba, Bytes payload, const RawOptions& options) {
  RawSector s{};
  std::fill_n(s.begin() + 1, 10, std::uint8_t{0xff});
  const std::int32_t frames = lba + 150;
  s[12] = bcd(frames / 4500);
  s[13] = bcd(frames / 75 % 60);
  s[14] = bcd(frames % 75);
  const bool mode_1 = form == SectorForm::kMode1, mode_0 = form == SectorForm::kMode0;
  s[15] = static_cast<std::uint8_t>(options.mode_marks | (mode_0 ? 0 : mode_1 ? 1 : 2));

  std::size_t data_at = 16, data_bytes = mode_0 ? 0 : mode_1 ? 2048 : 2336;
  if (form == SectorForm::kForm1 || form == SectorForm::kForm2) {
    data_at = 24;
    data_bytes = form == SectorForm::kForm1 ? 2048 : 2324;
    std::array<std::uint8_t, 4> subheader = options.subheader;
    subheader[2] = static_cast<std::uint8_t>((subheader[2] & ~0x20) | (form == SectorForm::kForm2 ? 0x20 : 0));
    std::ranges::copy(subheader, s.begin() + 16);
    std::ranges::copy(subheader, s.begin() + 20);
  }
  std::ranges::copy(payload.first(std::min(payload.size(), data_bytes)),
                    s.begin() + static_cast<std::ptrdiff_t>(data_at));

  if (mode_1) put_edc(s, 0, 2064);
  if (form == SectorForm::kForm1) put_edc(s, 16, 2072);
  if (form == SectorForm::kForm2 && options.form_2_edc) put_edc(s, 16, 2348);
  if (mode_1 || form == SectorForm::kForm1) put_parity(s, form == SectorForm::kForm1);
  return s;
}

}  // namespace lacuna::test
