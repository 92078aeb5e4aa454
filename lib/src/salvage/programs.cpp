// SPDX-License-Identifier: GPL-3.0-or-later
// What counts as a program for --skip-programs: what a machine or an interpreter that starts by a double click would
// run, and what virus scanners therefore delete while it is being copied. The lists are common practice, no source.
#include <algorithm>
#include <array>
#include <string>

#include "base/bytes.h"
#include "lacuna/pull.h"
#include "salvage/extension.h"

namespace lacuna {
namespace {

using namespace std::string_view_literals;

constexpr std::array kSignatures{
    "MZ"sv,  // DOS, Windows: executables, libraries, drivers, screen savers
    "ZM"sv,  // the same, as some old linkers wrote it
    "\x7F"
    "ELF"sv,               // Unix
    "\xFE\xED\xFA\xCE"sv,  // Mach-O, 32 bits, big-endian
    "\xFE\xED\xFA\xCF"sv,  // Mach-O, 64 bits, big-endian
    "\xCE\xFA\xED\xFE"sv,  // Mach-O, 32 bits, little-endian
    "\xCF\xFA\xED\xFE"sv,  // Mach-O, 64 bits, little-endian
    "\xCA\xFE\xBA\xBE"sv,  // Mach-O for several processors; Java class
    "Joy!peff"sv,          // Mac OS, PowerPC (Preferred Executable Format)
    "#!"sv,                // scripts
    "\0\0\x03\xF3"sv,      // Amiga (hunk)
    "\0asm"sv,             // WebAssembly
    "dex\n"sv,             // Dalvik
};

// Sorted, lower case.
constexpr std::array kExtensions{
    "apk"sv, "app"sv, "bat"sv, "chm"sv, "class"sv, "cmd"sv,  "com"sv, "cpl"sv, "csh"sv, "deb"sv, "dll"sv,
    "drv"sv, "exe"sv, "hlp"sv, "hta"sv, "jar"sv,   "js"sv,   "jse"sv, "ksh"sv, "lnk"sv, "msc"sv, "msi"sv,
    "msp"sv, "mst"sv, "ocx"sv, "pif"sv, "ps1"sv,   "psm1"sv, "reg"sv, "rpm"sv, "scf"sv, "scr"sv, "sh"sv,
    "sys"sv, "vb"sv,  "vbe"sv, "vbs"sv, "vxd"sv,   "ws"sv,   "wsc"sv, "wsf"sv, "wsh"sv,
};
static_assert(std::is_sorted(kExtensions.begin(), kExtensions.end()));

// Starts programs by itself when a disc is put in.
constexpr std::string_view kAutorun = "autorun.inf";

}  // namespace

bool is_program(std::string_view name, std::span<const std::uint8_t> first_bytes) {
  const std::string_view content = as_text(first_bytes.first(std::min<std::size_t>(first_bytes.size(), 16)));
  if (std::any_of(kSignatures.begin(), kSignatures.end(), [&](auto s) { return content.starts_with(s); })) return true;
  return lower_ascii(without_tail(name)) == kAutorun ||
         std::binary_search(kExtensions.begin(), kExtensions.end(), std::string_view(extension_of(name)));
}

}  // namespace lacuna
