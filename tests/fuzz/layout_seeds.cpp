// SPDX-License-Identifier: GPL-3.0-or-later
#include "fuzz/layout_seeds.h"

#include <string>

#include "media/chunk_bytes.h"

namespace lacuna::test {
namespace {

// A container of two tracks written at once and one by itself, in the 64-bit forms or the 32-bit ones.
std::string container(bool wide) {
  const int width = wide ? 8 : 4;
  const auto index = [&](int track, int number, int lba) {
    const std::string place = wide ? be_bytes(static_cast<std::uint64_t>(lba), 4)
                                   : std::string("\0\0\2", 3) + be_bytes(static_cast<std::uint64_t>(lba % 75), 1);
    return "\1" + be_bytes(static_cast<std::uint64_t>(track), 1) + be_bytes(static_cast<std::uint64_t>(number), 1) +
           '\0' + place;
  };
  const auto track = [&](int mode, int unit, int at, int start, int end) {
    return "ISRC00000001" + be_bytes(static_cast<std::uint64_t>(unit), 2) +
           be_bytes(static_cast<std::uint64_t>(mode), 1) + std::string(3, '\0') +
           be_bytes(static_cast<std::uint64_t>(at), width) + be_bytes(static_cast<std::uint64_t>(start), width) +
           be_bytes(static_cast<std::uint64_t>(end), width);
  };
  const std::string entry = be_bytes(9000, width) + be_bytes(2048, width) + be_bytes(0, 4) + be_bytes(20, 4) +
                            std::string(static_cast<std::size_t>(width), '\0');
  const std::string chunks =
      chunk_be(wide ? "CUEX" : "CUES", index(1, 1, 0) + index(2, 0, 2) + index(2, 1, 3) + index(0xAA, 1, 4)) +
      chunk_be(wide ? "DAOX" : "DAOI",
               std::string(20, '\0') + "\1\2" + track(0, 2048, 0, 0, 4096) + track(7, 2352, 4096, 6448, 8800)) +
      chunk_be("SINF", be_bytes(2, 4)) + chunk_be(wide ? "ETN2" : "ETNF", entry) + chunk_be("SINF", be_bytes(1, 4)) +
      chunk_be("CDTX", std::string(std::string_view("\x80\0\0\0Join us now \x9a\x0c", 18))) + chunk_be("END!", "");
  return std::string(11048, 'x') + chunks + (wide ? "NER5" + be_bytes(11048, 8) : "NERO" + be_bytes(11048, 4));
}

constexpr std::string_view kCueSheets[] = {
    "REM SESSION 01\r\nTITLE \"a\"\r\nFILE \"a.bin\" BINARY\r\n  TRACK 01 MODE1/2352\r\n    INDEX 01 00:00:00\r\n"
    "  TRACK 02 AUDIO\r\n    FLAGS DCP\r\n    PREGAP 00:02:00\r\n    INDEX 00 00:00:10\r\n    INDEX 01 00:00:20\r\n"
    "REM SESSION 02\r\nFILE b.bin MOTOROLA\r\n  TRACK 03 MODE2/2352\r\n    INDEX 01 00:00:00\r\n    POSTGAP "
    "00:01:00\r\n",
    "FILE d BINARY\nTRACK 1 AUDIO\nINDEX 1 0:0:0\nFILE b BINARY\nTRACK 2 CDG\nINDEX 0 0:0:1\nFILE c BINARY\nINDEX 1 "
    "0:0:0\n"
    "FILE a BINARY\nTRACK 3 MODE1/2048\nINDEX 1 0:0:0\nFILE e BINARY\nTRACK 4 MODE1/2352\nINDEX 1 0:0:2\n",
    "FILE x.mp3 MP3\nTRACK 01 AUDIO\nISRC A\nINDEX 01 00:00:00\nFILE b BINARY\nTRACK 02 MODE2/2336\nINDEX 01 "
    "99:59:74\n",
};
constexpr std::string_view kTocFiles[] = {
    "CATALOG \"1\"\nCD_ROM_XA\nCD_TEXT { LANGUAGE 0 { TITLE \"d\" } }\nTRACK MODE1_RAW\nDATAFILE \"aa\" 00:00:00\n"
    "TRACK AUDIO RW\nNO COPY\nISRC \"A\"\nSILENCE 00:02:00\nSTART\nFILE \"bb\" SWAP #12 10 00:00:01\nINDEX 0:0:1\n"
    "TRACK AUDIO\nPREGAP 0:1:0\nFILE \"ccc\" 0\nTRACK MODE2_FORM2 ZERO MODE2_FORM2 10 DATAFILE \"b\" // end",
};

}  // namespace

std::vector<std::vector<std::uint8_t>> layout_seeds_for(std::string_view target) {
  std::vector<std::vector<std::uint8_t>> seeds;
  const auto add = [&](std::string_view bytes) { seeds.emplace_back(bytes.begin(), bytes.end()); };
  if (target == "cue_sheet_fuzz") {
    for (const std::string_view sheet : kCueSheets) add(sheet);
  }
  if (target == "container_fuzz") {
    for (const std::string_view sheet : kTocFiles) add(sheet);
    add(container(true));
    add(container(false));
    add(std::string_view("RIFF\x30\0\0\0WAVEfmt \x10\0\0\0\1\0\2\0\x44\xAC\0\0\x10\xB1\2\0\4\0\x10\0data\4\0\0\0abcd",
                         48));
    add(std::string_view(
        "FORM\0\0\0\x32"
        "AIFFCOMM\0\0\0\x12\0\2\0\0\0\1\0\x10\x40\x0E\xAC\x44\0\0\0\0\0\0SSND\0\0\0\x0C\0\0\0\0\0\0\0\0abcd",
        58));
  }
  return seeds;
}

}  // namespace lacuna::test
