// SPDX-License-Identifier: GPL-3.0-or-later
// RawDisc: an image of whole CD sectors, made from plain ones, to be damaged and written to a file.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <vector>

#include "lacuna/image.h"
#include "support/authoring.h"
#include "support/raw_encoder.h"

namespace lacuna::test {

class RawDisc {
 public:
  explicit RawDisc(std::uint32_t unit_bytes = kRawSectorBytes) : unit_bytes_(unit_bytes) {}

  /// Sectors of user data (2048 bytes each; the last may be short), from the LBA behind the last one on.
  RawDisc& add(SectorForm form, Bytes plain, const RawOptions& options = {});
  /// Audio: noise that a seed tells.
  RawDisc& add_audio(std::uint64_t sectors, std::uint32_t seed);
  /// The next sector gets this LBA.
  RawDisc& go_to(std::int32_t lba) {
    next_lba_ = lba;
    return *this;
  }

  std::uint32_t unit_bytes() const noexcept { return unit_bytes_; }
  std::uint64_t units() const noexcept { return bytes.size() / unit_bytes_; }
  std::span<std::uint8_t> unit(std::uint64_t i) { return std::span(bytes).subspan(i * unit_bytes_, unit_bytes_); }
  /// As the bits lie on the disc (ECMA-130 annex B).
  RawDisc& scramble();
  void insert(std::uint64_t at_byte, std::uint64_t count, std::uint8_t value);
  void remove(std::uint64_t at_byte, std::uint64_t count);

  std::filesystem::path write(const ScratchFolder& folder, const std::string& name = "disc.bin") const;

  std::vector<std::uint8_t> bytes;

 private:
  void append(Bytes sector);

  std::uint32_t unit_bytes_;
  std::int32_t next_lba_ = 0;
};

/// The image of one file; a failure of opening is a failure of the test.
std::unique_ptr<Image> open_image(const std::filesystem::path& path, const ImageOptions& options = {});
/// Words for the states of all sectors, such as "good 0-39, absent 40".
std::string states_text(const Image& image);

}  // namespace lacuna::test
