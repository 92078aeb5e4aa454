// SPDX-License-Identifier: GPL-3.0-or-later
#include <gtest/gtest.h>

#include "base/bytes.h"
#include "lacuna/pull.h"

namespace lacuna {
namespace {

using namespace std::string_view_literals;

bool program(std::string_view name, std::string_view content) { return is_program(name, as_bytes(content)); }

TEST(IsProgram, ByContentWhateverTheName) {
  for (const std::string_view content :
       {"MZ\x90\0\3"sv,
        "\x7F"
        "ELF\2\1"sv,
        "\xFE\xED\xFA\xCE...."sv, "\xCF\xFA\xED\xFE...."sv, "\xCA\xFE\xBA\xBE"sv, "Joy!peffpwpc"sv, "#!/bin/sh\n"sv,
        "\0\0\x03\xF3...."sv, "\0asm\1"sv, "dex\n035"sv}) {
    EXPECT_TRUE(program("holiday.jpg", content)) << content;
  }
}

TEST(IsProgram, ByNameWhateverTheContent) {
  for (const std::string_view name : {"setup.exe"sv, "SETUP.EXE"sv, "RUN.COM;1"sv, "a.b.Bat"sv, "x.msi"sv, "link.lnk"sv,
                                      "AUTORUN.INF"sv, "trick.exe. "sv, "holiday.jpg.scr"sv}) {
    EXPECT_TRUE(program(name, "plain text")) << name;
    EXPECT_TRUE(program(name, "")) << name;
  }
}

TEST(IsProgram, DocumentsAreNone) {
  for (const std::string_view name :
       {"holiday.jpg"sv, "letter.doc"sv, "exe"sv, "com.txt"sv, "driver.inf"sv, ""sv, "."sv, ";1"sv, "archive.zip"sv}) {
    EXPECT_FALSE(program(name, "plain text")) << name;
  }
  EXPECT_FALSE(program("x", "M"));
  EXPECT_FALSE(program("x", ""));
  EXPECT_FALSE(program("x",
                       "\x7F"
                       "EL"));
}

}  // namespace
}  // namespace lacuna
