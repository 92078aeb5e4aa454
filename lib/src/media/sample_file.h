// SPDX-License-Identifier: GPL-3.0-or-later
// Where the samples lie in a WAVE, RF64 or AIFF file that holds a CD's sound as it is.
#pragma once

#include <cstdint>
#include <span>

#include "lacuna/result.h"
#include "media/byte_store.h"

namespace lacuna {

struct Samples {
  std::uint64_t at_byte = 0;
  std::uint64_t bytes = 0;       ///< That the file has.
  std::uint64_t said_bytes = 0;  ///< That it says it has: more when it was cut.
  bool big_endian = false;
};

/// Errors: kBadInput with a reason ("is no WAVE or AIFF file", "has samples of 24 bits"): what is not 44100 Hz, 16
/// bits, two channels without compression.
Result<Samples> find_samples(const ByteStore& store);

/// True for a file that begins as a WAVE, RF64 or AIFF file does.
bool is_sample_file(const ByteStore& store);

/// Reads all of `out`, in as many tries as it takes. False when not all bytes can be had.
bool read_exactly(const ByteStore& store, std::uint64_t at_byte, std::span<std::uint8_t> out);

}  // namespace lacuna
