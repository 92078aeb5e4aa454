// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/cd/sector.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <random>
#include <vector>

#include "support/raw_encoder.h"

namespace lacuna::cd {
namespace {

namespace fs = std::filesystem;
using test::encode_raw;
using test::RawSector;

constexpr std::int32_t kLba = 1234;  // 00:18:34

std::vector<std::uint8_t> payload(std::uint32_t seed) {
  std::mt19937 random(seed);
  std::vector<std::uint8_t> bytes(2336);
  for (std::uint8_t& b : bytes) b = static_cast<std::uint8_t>(random());
  return bytes;
}

RawSector sector_of(SectorForm form, std::uint32_t seed = 1) { return encode_raw(form, kLba, payload(seed)); }

/// Repairs it to what it was.
void expect_repair(RawSector sector, const RawSector& whole, const Expected& expected, SectorForm form) {
  EXPECT_EQ(look(sector, expected).state, SectorState::kBad);
  std::ptrdiff_t wrong = 0;
  for (std::size_t i = 0; i < sector.size(); ++i) wrong += sector[i] != whole[i] ? 1 : 0;
  const Sector r = prove(sector, expected);
  EXPECT_EQ(r.state, SectorState::kRepaired);
  EXPECT_TRUE(r.proven);
  EXPECT_EQ(r.form, form);
  EXPECT_EQ(r.corrected_bytes, wrong);
  EXPECT_EQ(sector, whole);
}

/// Stays bad, and as it was.
void expect_bad(RawSector sector, const Expected& expected, SectorForm form) {
  const RawSector before = sector;
  const Sector r = prove(sector, expected);
  EXPECT_EQ(r.state, SectorState::kBad);
  EXPECT_FALSE(r.proven);
  EXPECT_EQ(r.form, form);
  EXPECT_EQ(sector, before);
  EXPECT_EQ(look(sector, expected).state, SectorState::kBad);
}

TEST(SectorForms, HaveWords) {
  EXPECT_EQ(to_string(SectorForm::kUnknown), "unknown");
  EXPECT_EQ(to_string(SectorForm::kAudio), "audio");
  EXPECT_EQ(to_string(SectorForm::kMode0), "mode 0");
  EXPECT_EQ(to_string(SectorForm::kMode1), "mode 1");
  EXPECT_EQ(to_string(SectorForm::kMode2), "mode 2");
  EXPECT_EQ(to_string(SectorForm::kForm1), "mode 2 form 1");
  EXPECT_EQ(to_string(SectorForm::kForm2), "mode 2 form 2");
}

// ECMA-130 14.1: 00:00:00 is where the pregap of 2 s begins, so that 00:02:00 is LBA 0; the lead-in's minutes, up to
// 99, are before that (MMC; format-facts 6.6). 89:59:74 is the last.
TEST(Header, AddressAndLba) {
  EXPECT_EQ(header_lba(0x00, 0x02, 0x00), 0);
  EXPECT_EQ(header_lba(0x00, 0x00, 0x00), -150);
  EXPECT_EQ(header_lba(0x00, 0x18, 0x34), kLba);
  EXPECT_EQ(header_lba(0x89, 0x59, 0x74), 404849);
  EXPECT_EQ(header_lba(0x99, 0x59, 0x74), -151);
  EXPECT_EQ(header_lba(0x90, 0x00, 0x00), -45150);
  EXPECT_FALSE(header_lba(0x0a, 0x00, 0x00));
  EXPECT_FALSE(header_lba(0xa0, 0x00, 0x00));
  EXPECT_FALSE(header_lba(0x00, 0x60, 0x00));
  EXPECT_FALSE(header_lba(0x00, 0x00, 0x75));
  for (std::int32_t lba = -45150; lba <= 404849; ++lba) {
    const auto a = header_address(lba);
    ASSERT_TRUE(a);
    ASSERT_EQ(header_lba((*a)[0], (*a)[1], (*a)[2]), lba);
  }
  EXPECT_FALSE(header_address(-45151));
  EXPECT_FALSE(header_address(404850));
}

TEST(Sync, IsThatOfEcma130) {  // 14.1 a: 00, ten bytes FF, 00
  const RawSector s = sector_of(SectorForm::kMode1);
  EXPECT_TRUE(has_sync(s));
  EXPECT_FALSE(has_sync(Bytes(s).first(11)));
  for (std::size_t i = 0; i < 12; ++i) {
    RawSector t = s;
    t[i] ^= 1;
    EXPECT_FALSE(has_sync(t));
  }
}

TEST(Look, IntactSectorsOfEveryForm) {
  struct Case {
    SectorForm form;
    bool proven;
    std::uint16_t data_at, data_bytes;
  };
  for (const Case& c : {Case{SectorForm::kMode0, false, 0, 0}, Case{SectorForm::kMode1, true, 16, 2048},
                        Case{SectorForm::kForm1, true, 24, 2048}, Case{SectorForm::kForm2, true, 24, 2324}}) {
    RawSector s = sector_of(c.form);
    const RawSector before = s;
    for (const SectorForm expected : {SectorForm::kUnknown, SectorForm::kMode1, SectorForm::kForm1}) {
      const Sector looked = look(s, {.lba = kLba, .form = expected}),
                   proven = prove(s, {.lba = kLba, .form = expected});
      for (const Sector& r : {looked, proven}) {
        EXPECT_EQ(r.state, SectorState::kGood) << to_string(c.form);
        EXPECT_EQ(r.proven, c.proven);
        EXPECT_EQ(r.form, c.form);
        EXPECT_EQ(r.data_at, c.data_at);
        EXPECT_EQ(r.data_bytes, c.data_bytes);
        EXPECT_EQ(r.lba, kLba);
        EXPECT_EQ(r.corrected_bytes, 0);
      }
    }
    EXPECT_EQ(s, before);
  }
}

TEST(Look, MarksInTheModeByte) {
  test::RawOptions options;
  options.mode_marks = 0xe0;
  for (const SectorForm form : {SectorForm::kMode1, SectorForm::kForm1, SectorForm::kForm2}) {
    const Sector r = look(encode_raw(form, kLba, payload(1), options));
    EXPECT_EQ(r.state, SectorState::kGood);
    EXPECT_EQ(r.form, form);
  }
}

TEST(Look, OtherSizesAreBad) {
  const RawSector s = sector_of(SectorForm::kMode1);
  EXPECT_EQ(look({}).state, SectorState::kBad);
  EXPECT_EQ(look(Bytes(s).first(2351)).state, SectorState::kBad);
}

TEST(Look, SectorOfAnotherPlaceIsGoodAndSaysSo) {
  const Sector r = look(sector_of(SectorForm::kMode1), {.lba = 99});
  EXPECT_EQ(r.state, SectorState::kGood);
  EXPECT_EQ(r.lba, kLba);
}

TEST(Look, AudioIsWhatTheLayoutSays) {
  RawSector noise = sector_of(SectorForm::kMode1);
  Sector r = prove(noise, {.form = SectorForm::kAudio});
  EXPECT_EQ(r.state, SectorState::kGood);
  EXPECT_FALSE(r.proven);
  EXPECT_EQ(r.form, SectorForm::kAudio);
  EXPECT_EQ(r.data_bytes, kRawSectorBytes);
  EXPECT_FALSE(r.lba);
  ErasureSet missing;
  missing.set(2000);
  EXPECT_EQ(prove(noise, {.form = SectorForm::kAudio, .erasures = &missing}).state, SectorState::kBad);
}

TEST(Look, Form2WithoutAnEdcIsGoodAndProvesNothing) {
  test::RawOptions options;
  options.form_2_edc = false;
  RawSector s = encode_raw(SectorForm::kForm2, kLba, payload(1), options);
  Sector r = look(s, {.lba = kLba});
  EXPECT_EQ(r.state, SectorState::kGood);
  EXPECT_FALSE(r.proven);
  EXPECT_EQ(r.form, SectorForm::kForm2);
  EXPECT_EQ(look(s, {.lba = kLba + 1}).state, SectorState::kSuspect);  // its address speaks against it
  s[5] = 0;
  EXPECT_EQ(look(s, {.lba = kLba}).state, SectorState::kBad);
  EXPECT_EQ(look(s, {.lba = kLba, .form = SectorForm::kForm2}).state, SectorState::kSuspect);
  s[5] = 0xff;
  s[17] ^= 1;  // the copies of the subheader differ
  EXPECT_EQ(look(s, {.lba = kLba, .form = SectorForm::kForm2}).state, SectorState::kSuspect);
  s[17] ^= 1;
  ErasureSet missing;
  missing.set(1000);
  EXPECT_EQ(look(s, {.lba = kLba, .erasures = &missing}).state, SectorState::kBad);
}

TEST(Look, FormlessNeedsSuchANeighbour) {
  const RawSector s = sector_of(SectorForm::kMode2);
  Sector r = look(s, {.lba = kLba, .form = SectorForm::kMode2});
  EXPECT_EQ(r.state, SectorState::kGood);
  EXPECT_FALSE(r.proven);
  EXPECT_EQ(r.data_at, 16);
  EXPECT_EQ(r.data_bytes, 2336);
  EXPECT_EQ(look(s, {.lba = kLba}).state, SectorState::kSuspect);
  r = look(s, {.lba = kLba, .form = SectorForm::kForm1});
  EXPECT_EQ(r.state, SectorState::kBad);  // a form 1 sector whose subheader is hurt looks the same
  EXPECT_EQ(r.form, SectorForm::kForm1);
}

TEST(Look, Mode0IsZeros) {
  RawSector s = sector_of(SectorForm::kMode0);
  s[1000] = 1;
  EXPECT_EQ(look(s).state, SectorState::kBad);
  s[1000] = 0;
  EXPECT_EQ(look(s, {.lba = kLba}).state, SectorState::kGood);
}

// An EDC of 0 over zeros agrees and proves nothing: without a sync they are a hole.
TEST(Look, ZerosAndFillAreNoSectors) {
  for (const int fill : {0x00, 0xff, 0x55, 0xaa, 0x22, 0x01, 0x02}) {
    for (const SectorForm form : {SectorForm::kUnknown, SectorForm::kMode1, SectorForm::kForm1, SectorForm::kForm2}) {
      RawSector s;
      s.fill(static_cast<std::uint8_t>(fill));
      expect_bad(s, {.form = form}, form);
      expect_bad(s, {.lba = kLba, .form = form}, form);
    }
  }
}

TEST(Look, Form1OfZerosIsGoodAndProvesNothing) {
  test::RawOptions options;
  options.subheader = {};
  RawSector s = encode_raw(SectorForm::kForm1, kLba, {}, options);
  Sector r = look(s, {.lba = kLba});
  EXPECT_EQ(r.state, SectorState::kGood);
  EXPECT_FALSE(r.proven);
  EXPECT_EQ(r.form, SectorForm::kForm1);
  s[1000] = 7;  // zeros are no repair either
  expect_bad(s, {.lba = kLba}, SectorForm::kForm1);
}

TEST(Prove, WrongParityAloneIsNoMatter) {
  RawSector s = sector_of(SectorForm::kMode1);
  for (std::size_t i = 2076; i < kRawSectorBytes; ++i) s[i] = 0x33;
  EXPECT_EQ(prove(s).state, SectorState::kGood);
}

TEST(Prove, HurtSyncAndHeaderOfMode1) {
  const RawSector whole = sector_of(SectorForm::kMode1);
  RawSector s = whole;
  std::fill_n(s.begin(), 12, std::uint8_t{0x11});
  expect_repair(s, whole, {}, SectorForm::kMode1);
  std::fill_n(s.begin(), 16, std::uint8_t{0x11});
  expect_repair(s, whole, {.lba = kLba, .form = SectorForm::kMode1}, SectorForm::kMode1);
  expect_repair(s, whole, {.lba = kLba}, SectorForm::kMode1);
  expect_repair(s, whole, {}, SectorForm::kMode1);  // by the parity
  // With its parity gone only the address that it must have can mend it, and no other.
  std::fill_n(s.begin() + 2076, 276, std::uint8_t{0x11});
  RawSector copy = s;
  const Sector r = prove(copy, {.lba = kLba});
  EXPECT_EQ(r.state, SectorState::kRepaired);
  EXPECT_EQ(r.lba, kLba);
  EXPECT_TRUE(std::equal(whole.begin(), whole.begin() + 2076, copy.begin()));
  expect_bad(s, {.lba = kLba + 1}, SectorForm::kUnknown);
}

TEST(Prove, HeaderIsRightedButNotMoved) {
  RawSector s = sector_of(SectorForm::kMode1);
  const RawSector whole = s;
  s[500] ^= 1;
  const Sector r = prove(s, {.lba = 99});  // it isn't that sector, and its parity and EDC say so
  EXPECT_EQ(r.state, SectorState::kRepaired);
  EXPECT_EQ(r.lba, kLba);
  EXPECT_EQ(s, whole);
}

TEST(Prove, SyncAndHeaderOfForm1AreLeftAlone) {
  const RawSector whole = sector_of(SectorForm::kForm1);
  RawSector s = whole;
  std::fill_n(s.begin(), 16, std::uint8_t{0x11});
  EXPECT_EQ(look(s, {.lba = kLba, .form = SectorForm::kForm1}).state, SectorState::kGood);
  EXPECT_EQ(look(s).form, SectorForm::kForm1);
  RawSector hurt = s;
  hurt[700] ^= 0xff;
  expect_repair(hurt, s, {.lba = kLba, .form = SectorForm::kForm1}, SectorForm::kForm1);
  expect_repair(hurt, s, {}, SectorForm::kForm1);
}

TEST(Prove, SubheaderIsTakenFromItsGoodCopy) {
  for (const SectorForm form : {SectorForm::kForm1, SectorForm::kForm2}) {
    const RawSector whole = sector_of(form);
    for (const std::size_t at : {16u, 20u}) {
      RawSector s = whole;
      for (std::size_t i = 0; i < 4; ++i) s[at + i] ^= 0x5a;
      expect_repair(s, whole, {.lba = kLba, .form = form}, form);
      expect_repair(s, whole, {.lba = kLba, .form = SectorForm::kForm1}, form);
    }
  }
}

TEST(Prove, Form2HasNoParity) {
  RawSector s = sector_of(SectorForm::kForm2);
  s[700] ^= 1;
  expect_bad(s, {.lba = kLba}, SectorForm::kForm2);
}

TEST(Prove, HurtModeByteCostsNoForm) {
  for (const SectorForm form : {SectorForm::kMode1, SectorForm::kForm1}) {
    for (const int mode : {0, 1, 2, 3, 0xff}) {
      RawSector s = sector_of(form);
      s[15] = static_cast<std::uint8_t>(mode);
      s[900] ^= 1;
      const Sector r = prove(s, {.lba = kLba, .form = form});
      EXPECT_EQ(r.state, SectorState::kRepaired);
      EXPECT_EQ(r.form, form);
      EXPECT_EQ(s[900], sector_of(form)[900]);
    }
  }
}

TEST(Prove, QParityIsMadeAnewWhenAllElseIsRight) {
  const RawSector whole = sector_of(SectorForm::kMode1);
  RawSector s = whole;
  std::fill(s.begin() + 2248, s.end(), std::uint8_t{0x77});
  for (const std::size_t at : {100u, 300u, 1500u}) s[at] ^= 0x80;
  expect_repair(s, whole, {.lba = kLba}, SectorForm::kMode1);
}

// Two rows of words: two wrong bytes in each of the 86 codewords of P, three or four in those of Q.
TEST(Prove, KnownPlacesDoubleWhatIsCorrected) {
  for (const SectorForm form : {SectorForm::kMode1, SectorForm::kForm1}) {
    const RawSector whole = sector_of(form);
    RawSector s = whole;
    ErasureSet missing;
    for (std::size_t at = 24; at < 24 + 172; ++at) {
      s[at] ^= 0x3c;
      missing.set(at);
    }
    expect_bad(s, {.lba = kLba, .form = form}, form);
    expect_repair(s, whole, {.lba = kLba, .form = form, .erasures = &missing}, form);
  }
}

TEST(Prove, WrongErasuresAreForgotten) {
  const RawSector whole = sector_of(SectorForm::kMode1);
  RawSector s = whole;
  ErasureSet wrongly;
  for (std::size_t at = 0; at < kRawSectorBytes; ++at) wrongly.set(at, at % 3 != 0);
  s[777] ^= 1;
  expect_repair(s, whole, {.erasures = &wrongly}, SectorForm::kMode1);
  wrongly.set();
  expect_repair(s, whole, {.erasures = &wrongly}, SectorForm::kMode1);
}

// libcdio's test/data/isofs-m1.bin: a whole disc of mode 1 sectors, written by other software.
TEST(RealSectors, OfLibcdioProveThemselves) {
  const char* shared = std::getenv("LACUNA_SHARED");
  const fs::path folder = shared != nullptr ? fs::path(shared) : fs::path(LACUNA_SOURCE) / ".." / "shared";
  std::ifstream file(folder / "images/real/cdio-isofs-m1.bin", std::ios::binary);
  if (!file) GTEST_SKIP() << "no shared images: neither in $LACUNA_SHARED nor beside the checkout";
  RawSector s;
  std::int32_t lba = 0;
  for (; file.read(reinterpret_cast<char*>(s.data()), kRawSectorBytes); ++lba) {
    const Sector r = look(s, {.lba = lba});
    ASSERT_EQ(r.state, SectorState::kGood) << lba;
    ASSERT_TRUE(r.proven);
    ASSERT_EQ(r.form, SectorForm::kMode1);
    ASSERT_EQ(r.lba, lba);
    // The encoder of these tests makes the same bytes.
    ASSERT_EQ(encode_raw(SectorForm::kMode1, lba, Bytes(s).subspan(16, 2048)), s) << lba;
    const RawSector whole = s;
    for (std::size_t i = 0; i < 40; ++i) s[16 + static_cast<std::size_t>(lba) * 6 + i] ^= 0xff;
    ASSERT_EQ(prove(s, {.lba = lba}).state, SectorState::kRepaired);
    ASSERT_EQ(s, whole);
  }
  EXPECT_EQ(lba, 302);
}

}  // namespace
}  // namespace lacuna::cd
