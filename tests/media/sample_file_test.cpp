// SPDX-License-Identifier: GPL-3.0-or-later
// Samples in WAVE, RF64 and AIFF files (layouts from memory).
#include "media/sample_file.h"

#include <gtest/gtest.h>

#include "media/chunk_bytes.h"
#include "media/memory_store.h"

namespace lacuna {
namespace {

using test::be_bytes;
using test::chunk_be;
using test::chunk_le;
using test::le_bytes;
using test::MemoryStore;

std::string riff(const std::string& chunks, const std::string& id = "RIFF") {
  return id + le_bytes(4 + chunks.size(), 4) + "WAVE" + chunks;
}
std::string format(int tag = 1, int channels = 2, int rate = 44100, int bits = 16) {
  return chunk_le("fmt ", le_bytes(static_cast<std::uint64_t>(tag), 2) +
                              le_bytes(static_cast<std::uint64_t>(channels), 2) +
                              le_bytes(static_cast<std::uint64_t>(rate), 4) + le_bytes(176400, 4) + le_bytes(4, 2) +
                              le_bytes(static_cast<std::uint64_t>(bits), 2));
}
std::string form(const std::string& chunks, const std::string& kind = "AIFF") {
  return "FORM" + be_bytes(4 + chunks.size(), 4) + kind + chunks;
}
// The rate as an 80-bit number: 44100 is 1.345… times 2 to the 15th.
std::string common(const std::string& compression = "", int channels = 2, int bits = 16,
                   const std::string& rate = std::string("\x40\x0E\xAC\x44\0\0\0\0\0\0", 10)) {
  return chunk_be("COMM", be_bytes(static_cast<std::uint64_t>(channels), 2) + be_bytes(10, 4) +
                              be_bytes(static_cast<std::uint64_t>(bits), 2) + rate + compression);
}
std::string sound(std::uint64_t offset, const std::string& data) {
  return chunk_be("SSND", be_bytes(offset, 4) + be_bytes(0, 4) + data);
}

std::string say(const std::string& file) {
  const Result<Samples> s = find_samples(MemoryStore(file));
  if (!s) return s.error().message;
  return std::to_string(s->at_byte) + "+" + std::to_string(s->bytes) +
         (s->said_bytes != s->bytes ? " of " + std::to_string(s->said_bytes) : "") + (s->big_endian ? " big" : "");
}

TEST(SampleFile, Wave) {
  EXPECT_EQ(say(riff(format() + chunk_le("data", std::string(40, 'x')))), "44+40");
  EXPECT_EQ(
      say(riff(chunk_le("LIST", "odd") + format() + chunk_le("data", std::string(40, 'x')) + chunk_le("id3 ", "x"))),
      "56+40");
  // Cut, and with a length that was never filled in.
  EXPECT_EQ(say(riff(format() + chunk_le("data", std::string(40, 'x'))).substr(0, 60)), "44+16 of 40");
  EXPECT_EQ(say(riff(format() + "data" + le_bytes(0xFFFFFFFF, 4) + std::string(30, 'x'))), "44+30");
  // The extensible form of plain samples.
  const std::string extensible =
      chunk_le("fmt ", le_bytes(0xFFFE, 2) + le_bytes(2, 2) + le_bytes(44100, 4) + le_bytes(176400, 4) +
                           le_bytes(4, 2) + le_bytes(16, 2) + le_bytes(22, 2) + le_bytes(16, 2) + le_bytes(3, 4) +
                           le_bytes(1, 2) + std::string(14, 'g'));
  EXPECT_EQ(say(riff(extensible + chunk_le("data", "abcd"))), "68+4");
}

TEST(SampleFile, Rf64KeepsItsLengthElsewhere) {
  const std::string ds64 = chunk_le("ds64", le_bytes(0, 8) + le_bytes(40, 8) + le_bytes(10, 8) + le_bytes(0, 4));
  EXPECT_EQ(say(riff(ds64 + format() + "data" + le_bytes(0xFFFFFFFF, 4) + std::string(50, 'x'), "RF64")), "80+40");
  const std::string huge =
      chunk_le("ds64", le_bytes(0, 8) + le_bytes(~std::uint64_t{0}, 8) + le_bytes(10, 8) + le_bytes(0, 4));
  EXPECT_EQ(say(riff(huge + format() + "data" + le_bytes(0xFFFFFFFF, 4) + "xxxx", "RF64")), "80+4 of 10101763080192");
}

TEST(SampleFile, Aiff) {
  EXPECT_EQ(say(form(common() + sound(0, std::string(40, 'x')))), "54+40 big");
  EXPECT_EQ(say(form(sound(8, std::string(40, 'x')) + common())), "36+32 big");
  EXPECT_EQ(say(form(common("NONE" + std::string(2, '\0')) + sound(0, "abcd"), "AIFC")), "60+4 big");
  EXPECT_EQ(say(form(common("sowt" + std::string(2, '\0')) + sound(0, "abcd"), "AIFC")), "60+4");
  EXPECT_EQ(say(form(sound(0xFFFFFFFF, "abcd") + common())).substr(0, 13), "4294967323+0 ");
}

TEST(SampleFile, WhatIsNotACdsSound) {
  const std::string data = chunk_le("data", "abcd");
  EXPECT_EQ(say("short"), "is no WAVE or AIFF file");
  EXPECT_EQ(say(std::string(100, 'x')), "is no WAVE or AIFF file");
  EXPECT_EQ(say(riff(format(1, 1) + data)),
            "holds 1 channels of 44100 Hz and 16 bits, where a CD has 2 of 44100 Hz and 16 bits");
  EXPECT_EQ(say(riff(format(1, 2, 48000) + data)),
            "holds 2 channels of 48000 Hz and 16 bits, where a CD has 2 of 44100 Hz and 16 bits");
  EXPECT_EQ(say(riff(format(1, 2, 44100, 24) + data)),
            "holds 2 channels of 44100 Hz and 24 bits, where a CD has 2 of 44100 Hz and 16 bits");
  EXPECT_EQ(say(riff(format(3) + data)), "holds sound of format 3, not plain samples");
  EXPECT_EQ(say(riff(data + format())), "does not say how its samples are made before they begin");
  EXPECT_EQ(say(riff(format())), "holds no samples");
  EXPECT_EQ(say(form(common("ulaw" + std::string(2, '\0')) + sound(0, "abcd"), "AIFC")), "holds compressed sound");
  EXPECT_EQ(say(form(common("", 2, 8) + sound(0, "abcd"))),
            "holds 2 channels of 44100 Hz and 8 bits, where a CD has 2 of 44100 Hz and 16 bits");
  EXPECT_EQ(say(form(common("", 2, 16, std::string(10, '\xFF')) + sound(0, "abcd"))),
            "holds 2 channels of 0 Hz and 16 bits, where a CD has 2 of 44100 Hz and 16 bits");
  EXPECT_EQ(say(form(common())), "holds no samples, or does not say how they are made");
}

TEST(SampleFile, MillionsOfEmptyChunksEndTheSearch) {
  std::string empty;
  for (int i = 0; i < 2000; ++i) empty += chunk_le("xxxx", "");
  EXPECT_EQ(say(riff(empty + format() + chunk_le("data", "abcd"))), "holds no samples");
}

}  // namespace
}  // namespace lacuna
