// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/raw_disc.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <random>

#include "media/cd/scrambler.h"

namespace lacuna::test {

void RawDisc::append(Bytes sector) {
  const std::size_t at = bytes.size();
  bytes.resize(at + unit_bytes_);
  // 2336 bytes: what is behind the header.
  const Bytes held = unit_bytes_ < kRawSectorBytes ? sector.last(unit_bytes_) : sector;
  std::ranges::copy(held, bytes.begin() + static_cast<std::ptrdiff_t>(at));
  ++next_lba_;
}

RawDisc& RawDisc::add(SectorForm form, Bytes plain, const RawOptions& options) {
  for (std::size_t at = 0; at < plain.size(); at += kSectorBytes) {
    append(encode_raw(form, next_lba_, plain.subspan(at, std::min<std::size_t>(kSectorBytes, plain.size() - at)),
                      options));
  }
  return *this;
}

RawDisc& RawDisc::add_audio(std::uint64_t sectors, std::uint32_t seed) {
  std::mt19937 random(seed);
  for (std::uint64_t i = 0; i < sectors; ++i) {
    std::vector<std::uint8_t> samples(kRawSectorBytes);
    std::ranges::generate(samples, [&] { return static_cast<std::uint8_t>(random() >> 11); });
    append(samples);
  }
  return *this;
}

RawDisc& RawDisc::scramble() {
  for (std::uint64_t i = 0; i < units(); ++i) cd::scramble(unit(i).first<kRawSectorBytes>());
  return *this;
}

void RawDisc::insert(std::uint64_t at_byte, std::uint64_t count, std::uint8_t value) {
  bytes.insert(bytes.begin() + static_cast<std::ptrdiff_t>(at_byte), count, value);
}

void RawDisc::remove(std::uint64_t at_byte, std::uint64_t count) {
  const auto from = bytes.begin() + static_cast<std::ptrdiff_t>(at_byte);
  bytes.erase(from, from + static_cast<std::ptrdiff_t>(count));
}

std::filesystem::path RawDisc::write(const ScratchFolder& folder, const std::string& name) const {
  write_file(folder / name, std::string(bytes.begin(), bytes.end()));
  return folder / name;
}

std::unique_ptr<Image> open_image(const std::filesystem::path& path, const ImageOptions& options) {
  auto image = Image::open({path}, options);
  if (!image) {
    ADD_FAILURE() << image.error().message;
    return nullptr;
  }
  return std::move(image).value();
}

std::string states_text(const Image& image) {
  std::string text;
  const SectorMap states = image.states();
  for (const SectorRun& run : states.runs()) {
    text += (text.empty() ? "" : ", ") + std::string(to_string(run.state)) + " " + std::to_string(run.first);
    if (run.count > 1) text += "-" + std::to_string(run.end() - 1);
  }
  return text;
}

}  // namespace lacuna::test
