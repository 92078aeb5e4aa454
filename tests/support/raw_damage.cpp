// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/raw_damage.h"

#include <algorithm>

namespace lacuna::test {
namespace {

class Hurter {
 public:
  Hurter(RawSector& sector, std::mt19937_64& random) : sector_(sector), random_(random) {}

  std::size_t below(std::size_t n) { return random_() % n; }

  void change(std::size_t at) {
    if (wrong_[at]) return;
    sector_[at] ^= static_cast<std::uint8_t>(1 + below(255));
    wrong_.set(at);
  }
  void put(std::size_t at, std::uint8_t value) {
    sector_[at] = value;
    wrong_.set(at);
  }
  void burst(std::size_t bytes) {
    const std::size_t first = below(kRawSectorBytes - bytes + 1);
    for (std::size_t at = first; at < first + bytes; ++at) change(at);
  }

  const cd::ErasureSet& wrong() const { return wrong_; }

 private:
  RawSector& sector_;
  std::mt19937_64& random_;
  cd::ErasureSet wrong_;
};

}  // namespace

std::string_view to_string(RawDamage kind) {
  constexpr std::string_view kWords[] = {"in one codeword of P", "scattered",    "burst",           "four bursts",
                                         "every sixth byte",     "made to zero", "noise to the end"};
  return kWords[static_cast<std::size_t>(kind)];
}

std::vector<RawSector> trial_sectors(SectorForm form, std::mt19937_64& random) {
  std::vector<RawSector> sectors;
  std::vector<std::uint8_t> payload(2336);
  for (std::int32_t i = 0; i < 64; ++i) {
    for (std::uint8_t& b : payload) {
      b = static_cast<std::uint8_t>(i % 3 == 0 ? 'a' + random() % 26 : i % 3 == 1 ? random() : random() % 50 / 49);
    }
    sectors.push_back(encode_raw(form, 1000 + i, payload));
  }
  return sectors;
}

cd::ErasureSet damage_raw(RawSector& sector, RawDamage kind, std::size_t bytes, std::mt19937_64& random) {
  Hurter h(sector, random);
  switch (kind) {
    case RawDamage::kOneCodeword: {
      // ECMA-130 A.5: symbols of P codewords are 43 words apart, in 26 rows; of these, 24 are data.
      const std::size_t first = 12 + h.below(86);
      while (h.wrong().count() < std::min<std::size_t>(bytes, 24)) h.change(first + 86 * h.below(24));
      break;
    }
    case RawDamage::kScattered:
      while (h.wrong().count() < bytes) h.change(12 + h.below(kRawSectorBytes - 12));
      break;
    case RawDamage::kBurst:
      h.burst(bytes);
      break;
    case RawDamage::kBursts:
      for (int i = 0; i < 4; ++i) h.burst(bytes / 4);
      break;
    case RawDamage::kEverySixth: {
      const std::size_t first = h.below(kRawSectorBytes - 6 * bytes);
      for (std::size_t i = 0; i < bytes; ++i) h.change(first + 6 * i);
      break;
    }
    case RawDamage::kZeros: {
      const std::size_t first = h.below(kRawSectorBytes - bytes + 1);
      for (std::size_t at = first; at < first + bytes; ++at) h.put(at, 0);
      break;
    }
    case RawDamage::kRest:
      for (std::size_t at = h.below(kRawSectorBytes); at < kRawSectorBytes; ++at) {
        h.put(at, static_cast<std::uint8_t>(random()));
      }
      break;
  }
  return h.wrong();
}

}  // namespace lacuna::test
