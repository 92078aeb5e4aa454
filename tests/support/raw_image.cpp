// SPDX-License-Identifier: GPL-3.0-or-later
#include "support/raw_image.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <utility>

namespace lacuna::test {
namespace {

class FakeRawSource final : public SectorSource, public RawSectors {
 public:
  FakeRawSource(std::uint64_t first_lba, std::vector<FakeSector> sectors, std::vector<Track> tracks, RangeSet later,
                std::shared_ptr<const std::atomic<bool>> failing)
      : first_lba_(first_lba),
        sectors_(std::move(sectors)),
        tracks_(std::move(tracks)),
        later_(std::move(later)),
        failing_(std::move(failing)) {
    std::vector<SectorRun> proof;
    for (std::size_t i = 0; i < sectors_.size(); ++i) {
      const FakeSector& s = sectors_[i];
      const std::uint64_t lba = first_lba_ + i;
      if (s.form != SectorForm::kUnknown) forms_[static_cast<std::size_t>(s.form)].add({lba, lba + 1});
      if (s.user.empty()) userless_.add({lba, lba + 1});
      if (s.code) proof.push_back({lba, 1, *s.code});
      if (s.reading == SectorState::kUnread) holes_.add({lba, lba + 1});
      if (s.reading == SectorState::kAbsent) missing_.add({lba, lba + 1});
    }
    proof_ = SectorMap::from_runs(std::move(proof));
  }

  // SectorSource
  std::uint64_t first_lba() const noexcept override { return first_lba_; }
  std::uint64_t end_lba() const noexcept override { return first_lba_ + sectors_.size(); }
  const RangeSet& holes() const noexcept override { return holes_; }
  const RangeSet& missing() const noexcept override { return missing_; }
  const RangeSet& without_user_data() const noexcept override { return userless_; }
  const RawSectors* raw() const noexcept override { return this; }
  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    read_each(lba, out, states, kSectorBytes, &FakeSector::user);
  }

  // RawSectors
  const std::vector<Track>& tracks() const noexcept override { return tracks_; }
  const SectorMap& proof() const noexcept override { return proof_; }
  const RangeSet& of_form(SectorForm form) const noexcept override { return forms_[static_cast<std::size_t>(form)]; }
  void read_raw(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    read_each(lba, out, states, kRawSectorBytes, &FakeSector::bytes);
  }

  /// Of bad sectors, too.
  void read_stored(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states,
                   std::span<WrongBytes> wrong) const override {
    EXPECT_TRUE(wrong.empty() || wrong.size() == states.size());
    std::ranges::fill(wrong, WrongBytes());
    for (std::size_t i = 0; i < states.size(); ++i) {
      const std::span<std::uint8_t> to = out.subspan(i * kRawSectorBytes, kRawSectorBytes);
      std::ranges::fill(to, std::uint8_t{0});
      states[i] = SectorState::kAbsent;
      const std::uint64_t at = lba + i;
      if (at < first_lba() || at >= end_lba()) continue;
      const FakeSector& s = sectors_[static_cast<std::size_t>(at - first_lba_)];
      if (s.bytes.empty()) continue;
      states[i] = s.reading;
      if (has_bytes(states[i])) std::ranges::copy(s.bytes, to.begin());
    }
  }

 private:
  void read_each(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states, std::size_t bytes,
                 std::vector<std::uint8_t> FakeSector::*which) const {
    EXPECT_EQ(out.size(), states.size() * bytes) << "reading " << lba << " with spans that don't fit";
    for (std::size_t i = 0; i < states.size(); ++i) {
      const std::span<std::uint8_t> to = out.subspan(i * bytes, bytes);
      std::ranges::fill(to, std::uint8_t{0});
      const std::uint64_t at = lba + i;
      states[i] = SectorState::kAbsent;
      if (at < first_lba() || at >= end_lba()) continue;
      const FakeSector& s = sectors_[static_cast<std::size_t>(at - first_lba_)];
      const std::vector<std::uint8_t>& from = s.*which;
      if (from.empty()) continue;
      states[i] = s.code ? std::max(s.reading, *s.code) : s.reading;
      if (*failing_ && later_.contains(at)) states[i] = SectorState::kBad;
      if (has_bytes(states[i])) std::ranges::copy(from, to.begin());
    }
  }

  std::uint64_t first_lba_;
  std::vector<FakeSector> sectors_;
  std::vector<Track> tracks_;
  RangeSet later_;
  std::shared_ptr<const std::atomic<bool>> failing_;
  std::array<RangeSet, kSectorFormCount> forms_;
  RangeSet userless_, holes_, missing_;
  SectorMap proof_;
};

std::vector<std::uint8_t> numbered_bytes(std::uint64_t number) {
  std::vector<std::uint8_t> bytes(kRawSectorBytes);
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    bytes[i] = static_cast<std::uint8_t>((number >> (i % 4 * 8)) * 7 + i * 13 + i / 251);
  }
  return bytes;
}

}  // namespace

FakeSector audio_sector(std::uint64_t number) {
  FakeSector s;
  s.bytes = numbered_bytes(number);
  return s;
}

FakeSector silent_sector() {
  FakeSector s;
  s.bytes.resize(kRawSectorBytes);
  return s;
}

FakeSector data_sector(std::span<const std::uint8_t> user, SectorForm form) {
  FakeSector s;
  s.form = form;
  s.user.assign(user.begin(), user.end());
  s.user.resize(kSectorBytes);
  s.bytes.assign(kRawSectorBytes, 0xEE);
  // ECMA-130 14.2, 14.3 and CD-ROM XA: user data from byte 16, or 24 behind a subheader.
  std::ranges::copy(s.user, s.bytes.begin() + (form == SectorForm::kMode1 ? 16 : 24));
  s.code = SectorState::kGood;
  return s;
}

FakeSector form2_sector(std::uint64_t number, bool coded) {
  FakeSector s;
  s.form = SectorForm::kForm2;
  s.bytes = numbered_bytes(number);
  if (coded) s.code = SectorState::kGood;
  return s;
}

std::string text_content(std::size_t bytes) {
  std::string text;
  for (std::size_t i = 0; text.size() < bytes; ++i) text += "line " + std::to_string(i) + " of a file\n";
  text.resize(bytes);
  return text;
}

std::uint64_t RawImage::add(FakeSector sector) {
  sectors_.push_back(std::move(sector));
  return end_lba() - 1;
}

void RawImage::add_plain(std::span<const std::uint8_t> bytes, SectorForm form) {
  for (; !bytes.empty(); bytes = bytes.subspan(std::min<std::size_t>(bytes.size(), kSectorBytes))) {
    add(data_sector(bytes.first(std::min<std::size_t>(bytes.size(), kSectorBytes)), form));
  }
}

std::uint64_t RawImage::add_audio_track(std::uint32_t number, std::uint64_t count, std::uint64_t first_number) {
  Track track;
  track.number = number;
  track.audio = true;
  track.first_lba = end_lba();
  track.sectors = count;
  for (std::uint64_t i = 0; i < count; ++i) add(audio_sector(first_number + i));
  tracks_.push_back(track);
  return track.first_lba;
}

RawImage& RawImage::mark(std::uint64_t first, std::uint64_t count, SectorState state) {
  marks_.push_back({first, count, state});
  return with_map();
}

RawImage& RawImage::with_map() {
  mapped_ = true;
  return *this;
}

RawImage& RawImage::fail_later(std::uint64_t first, std::uint64_t count) {
  later_.add({first, first + count});
  return *this;
}

std::unique_ptr<SectorSource> RawImage::source() const {
  return std::make_unique<FakeRawSource>(first_lba_, sectors_, tracks_, later_, failing_);
}

std::unique_ptr<Image> RawImage::open(std::string name) const {
  std::vector<SectorMap> maps;
  if (mapped_) maps.push_back(SectorMap::from_runs(marks_));
  return Image::from_source(source(), std::move(maps), std::move(name));
}

}  // namespace lacuna::test
