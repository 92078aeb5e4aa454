// SPDX-License-Identifier: GPL-3.0-or-later
// FlacWriter: samples of a CD into a FLAC file under construction (libFLAC through libsndfile).
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "salvage/output_folder.h"

namespace lacuna {

/// What a FLAC file says of itself; empty texts are left out.
struct FlacTags {
  std::string title, artist, track;
};

/// For one thread. Functions that give an int give 0 or an errno.
class FlacWriter {
 public:
  FlacWriter();
  ~FlacWriter();
  FlacWriter(const FlacWriter&) = delete;
  FlacWriter& operator=(const FlacWriter&) = delete;

  /// The file has been created and is empty; it must outlive finish().
  int start(PartFile& file, const FlacTags& tags);
  /// Whole frames: two samples of 16 bits each, little-endian.
  int write(std::span<const std::uint8_t> frames);
  /// Completes the file and says how long it is.
  int finish(std::uint64_t& bytes);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace lacuna
