// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/words.h"

#include <gtest/gtest.h>

#include <cstdlib>

namespace lacuna {
namespace {

TEST(HumanBytes, DecimalUnitsWithThreeDigits) {
  EXPECT_EQ(human_bytes(0), "0 B");
  EXPECT_EQ(human_bytes(999), "999 B");
  EXPECT_EQ(human_bytes(1000), "1 kB");
  EXPECT_EQ(human_bytes(1040), "1.04 kB");
  EXPECT_EQ(human_bytes(1400000000), "1.4 GB");
  EXPECT_EQ(human_bytes(23450000), "23.5 MB");
  EXPECT_EQ(human_bytes(681574400), "682 MB");
}

TEST(HumanBytes, RoundingNeverShowsAThousand) {
  EXPECT_EQ(human_bytes(9994), "9.99 kB");
  EXPECT_EQ(human_bytes(9995), "10 kB");
  EXPECT_EQ(human_bytes(99950), "100 kB");
  EXPECT_EQ(human_bytes(999499), "999 kB");
  EXPECT_EQ(human_bytes(999500), "1 MB");
  EXPECT_EQ(human_bytes(999'999'999'999), "1 TB");
}

TEST(HumanBytes, TheLargestNumberHasAUnit) { EXPECT_EQ(human_bytes(~std::uint64_t{0}), "18.4 EB"); }

TEST(Grouped, ThousandsAreSet) {
  EXPECT_EQ(grouped(0), "0");
  EXPECT_EQ(grouped(999), "999");
  EXPECT_EQ(grouped(1000), "1,000");
  EXPECT_EQ(grouped(123456), "123,456");
  EXPECT_EQ(grouped(~std::uint64_t{0}), "18,446,744,073,709,551,615");
}

TEST(Counted, OneIsSingular) {
  EXPECT_EQ(report::counted(1, "file"), "1 file");
  EXPECT_EQ(report::counted(0, "file"), "0 files");
  EXPECT_EQ(report::counted(2000, "directory", "directories"), "2,000 directories");
}

TEST(Share, NeverNothingForSomethingNorAllForLess) {
  EXPECT_EQ(report::share(0, 10), "0 %");
  EXPECT_EQ(report::share(1, 1000000), "<0.1 %");
  EXPECT_EQ(report::share(999999, 1000000), ">99.9 %");
  EXPECT_EQ(report::share(10, 10), "100 %");
  EXPECT_EQ(report::share(1, 3), "33.3 %");
  EXPECT_EQ(report::share(0, 0), "0 %");
}

TEST(Shown, WhatCouldSteerATerminalIsEscaped) {
  EXPECT_EQ(shown("Måneskin 🌙.txt"), "Måneskin 🌙.txt");
  EXPECT_EQ(shown("a\x1b[2Jb\n"), "a%1B[2Jb%0A");
  EXPECT_EQ(shown("\x7f"), "%7F");
  EXPECT_EQ(shown("\xc2\x9b"
                  "2J"),
            "%C2%9B2J");                                        // U+009B, the C1 control that begins a sequence
  EXPECT_EQ(shown("exe.\xe2\x80\xaegpj"), "exe.%E2%80%AEgpj");  // U+202E, right-to-left override
  EXPECT_EQ(shown("\xe2\x81\xa6x\xe2\x81\xa9"), "%E2%81%A6x%E2%81%A9");
  EXPECT_EQ(shown("\xe2\x80\xa6 \xc2\xa0"), "\xe2\x80\xa6 \xc2\xa0");  // "…", no-break space: harmless neighbours
  EXPECT_EQ(shown("\xe2\x80"), "\xe2\x80");                            // Cut short: nothing is read beyond its end.
  EXPECT_EQ(shown("\xc2"), "\xc2");
}

TEST(ShellQuoted, OneWordWhateverItHolds) {
  EXPECT_EQ(shell_quoted("harbour-1998.iso"), "harbour-1998.iso");
  EXPECT_EQ(shell_quoted(""), "''");
  EXPECT_EQ(shell_quoted("a b"), "'a b'");
  EXPECT_EQ(shell_quoted("it's $HOME"), "'it'\\''s $HOME'");
  EXPECT_EQ(shell_quoted("~x"), "'~x'");
}

TEST(Dates, MinutesInTheZoneRecorded) {
  report::Dates dates;
  EXPECT_EQ(dates.minute(*make_timestamp(2004, 2, 29, 23, 59, 58, 0, 120)), "2004-02-29 23:59");
  EXPECT_EQ(dates.minute(*make_timestamp(2004, 2, 29, 0, 0, 0, 0, -60)), "2004-02-29 00:00");
  EXPECT_EQ(dates.minute(*make_timestamp(1969, 12, 31, 1, 2, 3, 0, 0)), "1969-12-31 01:02");
  EXPECT_EQ(dates.minute(Timestamp{}), "                ");
  EXPECT_EQ(dates.minute(*make_timestamp(1970, 1, 1, 3, 4, 0, 0, 0)), "1970-01-01 03:04");
}

}  // namespace
}  // namespace lacuna
