// SPDX-License-Identifier: GPL-3.0-or-later
// Whether the states keep apart: for eyes that see all colours, for those that don't, and on paper without any.
#include "report/state_style.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <set>

namespace lacuna::report {
namespace {

using Triple = std::array<double, 3>;

/// sRGB to linear light (IEC 61966-2-1).
Triple linear(Colour c) {
  const auto channel = [](std::uint8_t byte) {
    const double v = byte / 255.0;
    return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
  };
  return {channel(c.red), channel(c.green), channel(c.blue)};
}

/// WCAG 2.2, "relative luminance" and "contrast ratio".
double luminance(const Triple& c) { return 0.2126 * c[0] + 0.7152 * c[1] + 0.0722 * c[2]; }
double contrast(Colour a, Colour b) {
  const double x = luminance(linear(a)), y = luminance(linear(b));
  return (std::max(x, y) + 0.05) / (std::min(x, y) + 0.05);
}

using Matrix = std::array<Triple, 3>;
/// How colours look without one kind of cone: Machado, Oliveira, Fernandes, "A Physiologically-based Model for
/// Simulation of Color Vision Deficiency", 2009, severity 1.0, in linear light (from memory).
constexpr Matrix kAllCones{{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
constexpr Matrix kProtanopia{
    {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}}};
constexpr Matrix kDeuteranopia{
    {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}}};
constexpr Matrix kTritanopia{
    {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}}};

Triple seen(const Triple& c, const Matrix& m) {
  Triple to{};
  for (std::size_t i = 0; i < 3; ++i) to[i] = std::clamp(m[i][0] * c[0] + m[i][1] * c[1] + m[i][2] * c[2], 0.0, 1.0);
  return to;
}

/// CIE 15: CIELAB of linear sRGB, white point D65.
Triple lab(const Triple& c) {
  const auto f = [](double t) { return t > 216.0 / 24389 ? std::cbrt(t) : (24389.0 / 27 * t + 16) / 116; };
  const double x = f((0.4124 * c[0] + 0.3576 * c[1] + 0.1805 * c[2]) / 0.9505), y = f(luminance(c)),
               z = f((0.0193 * c[0] + 0.1192 * c[1] + 0.9505 * c[2]) / 1.089);
  return {116 * y - 16, 500 * (x - y), 200 * (y - z)};
}

/// Delta E*ab (CIE 1976); 2.3 is just noticeable.
double distance(Colour a, Colour b, const Matrix& m) {
  const Triple p = lab(seen(linear(a), m)), q = lab(seen(linear(b), m));
  return std::hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]);
}

TEST(StateStyle, FormulasGiveKnownValues) {
  // WCAG: black on white is 21 to 1. CIELAB of pure sRGB red: 53.2, 80.1, 67.2 (common reference value).
  EXPECT_NEAR(contrast({0, 0, 0}, {255, 255, 255}), 21, 1e-9);
  const Triple red = lab(linear({255, 0, 0}));
  EXPECT_NEAR(red[0], 53.2, 0.1);
  EXPECT_NEAR(red[1], 80.1, 0.1);
  EXPECT_NEAR(red[2], 67.2, 0.1);
}

TEST(StateStyle, WordsAreThoseOfTheStates) {
  std::set<Mark> marks;
  for (int s = 0; s < kSectorStateCount; ++s) {
    const StateStyle& style = style_of(static_cast<SectorState>(s));
    EXPECT_EQ(style.word, to_string(static_cast<SectorState>(s)));
    marks.insert(style.mark);
  }
  marks.insert(kNotOnDisc.mark);
  EXPECT_EQ(marks.size(), kSectorStateCount + 1u) << "a mark of its own for each";
}

TEST(StateStyle, WhatIsLostStandsOutFromWhatIsGood) {
  // WCAG 2.2, 1.4.11: 3 to 1 between parts of a picture that must be told apart.
  const Colour good = style_of(SectorState::kGood).fill;
  for (const SectorState s : {SectorState::kSuspect, SectorState::kBad, SectorState::kUnread, SectorState::kAbsent}) {
    EXPECT_GE(contrast(style_of(s).fill, good), 3) << to_string(s);
  }
  // Nothing is lost of what was repaired.
  EXPECT_GE(contrast(style_of(SectorState::kRepaired).fill, good), 1.9);
}

TEST(StateStyle, MarksCanBeSeenOnTheirColours) {
  for (int s = 1; s < kSectorStateCount; ++s) {
    const StateStyle& style = kStateStyles[static_cast<std::size_t>(s)];
    EXPECT_GE(contrast(style.fill, style.ink), 3) << style.word;
  }
  EXPECT_GE(contrast(kNotOnDisc.fill, kNotOnDisc.ink), 3);
  EXPECT_GE(contrast(kNotOnDiscDark, kNotOnDisc.ink), 3);
}

TEST(StateStyle, WordsCanBeReadOnBothPages) {
  // WCAG 2.2, 1.4.3: 4.5 to 1.
  for (const PageColours& page : {kLightPage, kDarkPage}) {
    EXPECT_GE(contrast(page.text, page.ground), 4.5);
    EXPECT_GE(contrast(page.muted, page.ground), 4.5);
    EXPECT_GE(contrast(page.text, page.hub), 4.5);
    EXPECT_GE(contrast(page.line, page.ground), 3);
  }
}

TEST(StateStyle, ColoursKeepApartWithoutACone) {
  for (const Matrix& m : {kAllCones, kProtanopia, kDeuteranopia, kTritanopia}) {
    for (std::size_t a = 0; a < kStateStyles.size(); ++a) {
      for (std::size_t b = 0; b < a; ++b) {
        EXPECT_GE(distance(kStateStyles[a].fill, kStateStyles[b].fill, m), 17)
            << kStateStyles[a].word << ", " << kStateStyles[b].word;
      }
    }
  }
}

TEST(StateStyle, MarksOnPaperWithoutColourCoverDifferently) {
  // The share of a tile that each mark covers: none by chance looks like another.
  std::array<double, 7> shares{};
  for (std::size_t m = 0; m < shares.size(); ++m) {
    int covered = 0;
    for (int i = 0; i < 64 * 64; ++i) {
      const double x = (i % 64 + 0.5) * kMarkTile / 64, y = (i / 64 + 0.5) * kMarkTile / 64;
      covered += covers(static_cast<Mark>(m), x, y) ? 1 : 0;
      // The tile repeats.
      EXPECT_EQ(covers(static_cast<Mark>(m), x, y), covers(static_cast<Mark>(m), x + 3 * kMarkTile, y - kMarkTile));
    }
    shares[m] = covered / 4096.0;
  }
  // Worked out from the shapes: 0.34 mm dots, lines of 0.32 mm in a tile of 1.6 mm.
  EXPECT_EQ(shares[static_cast<std::size_t>(Mark::kNone)], 0);
  EXPECT_NEAR(shares[static_cast<std::size_t>(Mark::kDots)], 3.1416 * 0.34 * 0.34 / (1.6 * 1.6), 0.01);
  EXPECT_NEAR(shares[static_cast<std::size_t>(Mark::kBars)], 0.32 / 1.6, 0.025);
  EXPECT_NEAR(shares[static_cast<std::size_t>(Mark::kCrossLines)], 0.2 + 0.2 - 0.04, 0.025);
  EXPECT_NEAR(shares[static_cast<std::size_t>(Mark::kHatching)], 0.32 * std::sqrt(2.0) / 1.6, 0.02);
  EXPECT_GT(shares[static_cast<std::size_t>(Mark::kLattice)], shares[static_cast<std::size_t>(Mark::kHatching)] + 0.15);
  EXPECT_NEAR(shares[static_cast<std::size_t>(Mark::kSparseDots)], 3.1416 * 0.16 * 0.16 / (1.6 * 1.6), 0.01);
}

TEST(StateStyle, HexIsAsHtmlHasIt) { EXPECT_EQ(hex({0xb0, 0x05, 0x35}), "#b00535"); }

}  // namespace
}  // namespace lacuna::report
