// SPDX-License-Identifier: GPL-3.0-or-later
// Pulling audio tracks: as WAV and as FLAC, read back by libsndfile.
#include <gmock/gmock.h>
#include <sndfile.h>

#include "pull_box.h"
#include "support/opened_raw.h"

namespace lacuna::test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

struct Sound {
  SF_INFO info{};
  std::vector<std::int16_t> samples;
  std::string title, artist, track;
};

Sound read_sound(const fs::path& path) {
  Sound s;
  SNDFILE* file = sf_open(path.c_str(), SFM_READ, &s.info);
  if (file == nullptr) {
    ADD_FAILURE() << path << ": " << sf_strerror(nullptr);
    return s;
  }
  s.samples.resize(static_cast<std::size_t>(s.info.frames * s.info.channels));
  EXPECT_EQ(sf_readf_short(file, s.samples.data(), s.info.frames), s.info.frames);
  const auto text = [&](int what) {
    const char* t = sf_get_string(file, what);
    return std::string(t == nullptr ? "" : t);
  };
  s.title = text(SF_STR_TITLE);
  s.artist = text(SF_STR_ARTIST);
  s.track = text(SF_STR_TRACKNUMBER);
  sf_close(file);
  return s;
}

/// The samples of audio_sector(first), …
std::vector<std::int16_t> samples_of(std::uint64_t first, std::uint64_t count) {
  std::vector<std::int16_t> all;
  for (std::uint64_t n = first; n < first + count; ++n) {
    const std::vector<std::uint8_t> bytes = audio_sector(n).bytes;
    for (std::size_t i = 0; i < bytes.size(); i += 2) {
      all.push_back(static_cast<std::int16_t>(static_cast<std::uint16_t>(bytes[i] | bytes[i + 1] << 8)));
    }
  }
  return all;
}

/// Two tracks, of which the first takes several chunks of reading, and a folder.
struct AudioBox {
  RawImage raw;
  ScratchFolder scratch;
  PullOptions options;
  std::unique_ptr<OpenedRaw> disc;

  AudioBox() {
    raw.with_map();
    raw.add_audio_track(1, 300, 1000);
    raw.tracks()[0].title = "Low Tide";
    raw.tracks()[0].performer = "The Harbour Band";
    raw.add_audio_track(2, 8, 2000);
    options.to = to();
  }
  fs::path to() const { return scratch.path() / "out"; }
  PullReport pull() {
    disc = std::make_unique<OpenedRaw>(raw);
    raw.fail_now();
    auto report = lacuna::pull(disc->disc(), disc->verdicts(), options);
    if (!report) {
      ADD_FAILURE() << report.error().message;
      return {};
    }
    return std::move(*report);
  }
  std::vector<PullOutcome> outcomes(const PullReport& report) const {
    std::vector<PullOutcome> all;
    for (const PulledFile& f : report.files) all.push_back(f.outcome);
    return all;
  }
  std::vector<ManifestEntry> manifest() const { return entries_of(to()); }
  void expect_verified(std::uint64_t files) const {
    const auto report = verify(to());
    ASSERT_TRUE(report.ok());
    EXPECT_THAT(report->problems, IsEmpty());
    EXPECT_EQ(report->files_right, files);
    EXPECT_EQ(shell(to(), "sha256sum --check --strict --quiet SHA256SUMS"), 0);
  }
};

constexpr auto kPulled = PullOutcome::kPulled;
constexpr auto kThere = PullOutcome::kAlreadyThere;

TEST(AudioPull, WavHasTheSamplesOfTheSectors) {
  AudioBox box;
  const PullReport report = box.pull();
  EXPECT_THAT(box.outcomes(report), ElementsAre(kPulled, kPulled));
  const Sound one = read_sound(box.to() / "_audio/track-01.wav");
  EXPECT_EQ(one.info.format, SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  EXPECT_EQ(one.info.samplerate, 44100);
  EXPECT_EQ(one.info.channels, 2);
  EXPECT_EQ(one.samples, samples_of(1000, 300));
  EXPECT_EQ(read_sound(box.to() / "_audio/track-02.wav").samples, samples_of(2000, 8));
  box.expect_verified(2);
  EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(kThere, kThere));
}

TEST(AudioPull, FlacHasTheSamplesAndTheTags) {
  AudioBox box;
  box.options.audio_format = AudioFormat::kFlac;
  const PullReport report = box.pull();
  EXPECT_THAT(box.outcomes(report), ElementsAre(kPulled, kPulled));
  EXPECT_EQ(report.files[0].target, "_audio/track-01.flac");
  EXPECT_THAT(listing(box.to()), ElementsAre("SHA256SUMS", "_audio/", "_audio/track-01.flac", "_audio/track-02.flac",
                                             "lacuna-manifest.jsonl"));
  const Sound one = read_sound(box.to() / "_audio/track-01.flac");
  EXPECT_EQ(one.info.format, SF_FORMAT_FLAC | SF_FORMAT_PCM_16);
  EXPECT_EQ(one.info.samplerate, 44100);
  EXPECT_EQ(one.info.channels, 2);
  EXPECT_EQ(one.samples, samples_of(1000, 300));
  EXPECT_EQ(one.title, "Low Tide");
  EXPECT_EQ(one.artist, "The Harbour Band");
  EXPECT_EQ(one.track, "1");
  const Sound two = read_sound(box.to() / "_audio/track-02.flac");
  EXPECT_EQ(two.samples, samples_of(2000, 8));
  EXPECT_EQ(two.title, "");
  EXPECT_EQ(two.track, "2");

  const std::vector<ManifestEntry> entries = box.manifest();
  ASSERT_EQ(entries.size(), 2u);
  EXPECT_EQ(entries[0].path, "_audio/track-01.wav");
  EXPECT_EQ(entries[0].target, "_audio/track-01.flac");
  EXPECT_EQ(entries[0].size, 44u + 300 * 2352);
  EXPECT_EQ(entries[0].target_bytes, fs::file_size(box.to() / "_audio/track-01.flac"));
  EXPECT_EQ(report.bytes_written, *entries[0].target_bytes + *entries[1].target_bytes);
  EXPECT_THAT(read_text(box.to() / kManifestName), HasSubstr("\"audio_format\":\"flac\""));
  box.expect_verified(2);
}

TEST(AudioPull, FlacAgainDoesOnlyWhatIsMissing) {
  AudioBox box;
  box.options.audio_format = AudioFormat::kFlac;
  box.pull();
  const std::string before = read_text(box.to() / kManifestName);
  EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(kThere, kThere));
  EXPECT_EQ(read_text(box.to() / kManifestName).substr(before.find('\n')), before.substr(before.find('\n')));
  fs::remove(box.to() / "_audio/track-01.flac");
  EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(kPulled, kThere));
  box.expect_verified(2);
}

TEST(AudioPull, BothFormatsMayStandInOneFolder) {
  AudioBox box;
  box.pull();
  box.options.audio_format = AudioFormat::kFlac;
  EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(kPulled, kPulled));
  box.expect_verified(4);
}

TEST(AudioPull, SomethingElseInTheWayIsKeptUnlessTold) {
  AudioBox box;
  box.options.audio_format = AudioFormat::kFlac;
  fs::create_directories(box.to() / "_audio");
  write_file(box.to() / "_audio/track-01.flac", "mine");
  EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(PullOutcome::kBlocked, kPulled));
  EXPECT_EQ(read_text(box.to() / "_audio/track-01.flac"), "mine");
  box.options.replace = true;
  EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(kPulled, kThere));
  EXPECT_EQ(read_sound(box.to() / "_audio/track-01.flac").samples, samples_of(1000, 300));
  box.expect_verified(2);
}

TEST(AudioPull, ChangedFlacFailsTheCheck) {
  AudioBox box;
  box.options.audio_format = AudioFormat::kFlac;
  box.pull();
  std::string flac = read_text(box.to() / "_audio/track-02.flac");
  flac.back() = static_cast<char>(flac.back() ^ 1);
  write_file(box.to() / "_audio/track-02.flac", flac);
  const auto report = verify(box.to());
  ASSERT_TRUE(report.ok());
  ASSERT_EQ(report->problems.size(), 1u);
  EXPECT_EQ(report->problems[0].path, "_audio/track-02.flac");
}

TEST(AudioPull, DamagedTracksAreWavsWithAListOfGapsWhateverWasAskedFor) {
  for (const AudioFormat format : {AudioFormat::kWav, AudioFormat::kFlac}) {
    AudioBox box;
    box.raw.mark(10, 2, SectorState::kBad);
    box.options.audio_format = format;
    EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(PullOutcome::kLeftDamaged, kPulled));
    box.options.damaged = true;
    EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(kPulled, kThere));
    const Sound one = read_sound(box.to() / "_damaged/_audio/track-01.wav");
    std::vector<std::int16_t> expected = samples_of(1000, 300);
    std::fill_n(expected.begin() + 10 * 1176, 2 * 1176, std::int16_t{0});
    EXPECT_EQ(one.samples, expected);
    EXPECT_THAT(read_text(box.to() / "_damaged/_audio/track-01.wav.gaps.txt"), HasSubstr("\n23564 4704 bad\n"));
    box.expect_verified(3);
    EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(kThere, kThere));
  }
}

TEST(AudioPull, LostTracksAreLeftInSpiteOfTheirHeader) {
  AudioBox box;
  box.raw.mark(300, 8, SectorState::kUnread);
  box.options.damaged = true;
  EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(kPulled, PullOutcome::kLeftDamaged));
}

TEST(AudioPull, WhatReadingShowsMakesItDamaged) {
  for (const AudioFormat format : {AudioFormat::kWav, AudioFormat::kFlac}) {
    AudioBox box;
    box.raw.fail_later(0, 300).fail_later(305, 1);
    box.options.audio_format = format;
    box.options.damaged = true;
    const PullReport report = box.pull();
    EXPECT_EQ(box.disc->state("_audio/track-01.wav"), FileState::kWhole);
    EXPECT_THAT(box.outcomes(report), ElementsAre(PullOutcome::kLeftDamaged, kPulled));
    EXPECT_EQ(report.files[1].target, "_damaged/_audio/track-02.wav");
    const std::vector<ManifestEntry> entries = box.manifest();
    ASSERT_EQ(entries.size(), 2u);
    EXPECT_EQ(entries[0].state, FileState::kLost);
    EXPECT_EQ(entries[1].state, FileState::kDamaged);
    EXPECT_THAT(entries[1].gaps, ElementsAre(Gap{44 + 5 * 2352, 2352, SectorState::kBad}));
    EXPECT_FALSE(entries[1].target_bytes);
    box.expect_verified(2);
  }
}

TEST(AudioPull, OddTitlesAreOnlyTags) {
  AudioBox box;
  box.raw.tracks()[0].title = std::string("../../up\n\0down", 14) + std::string(100000, 'x');
  box.raw.tracks()[0].performer = "\xff\xfe and \xef\xbf\xbf, \xed\xa0\x80";
  box.options.audio_format = AudioFormat::kFlac;
  EXPECT_THAT(box.outcomes(box.pull()), ElementsAre(kPulled, kPulled));
  const Sound one = read_sound(box.to() / "_audio/track-01.flac");
  EXPECT_EQ(one.samples, samples_of(1000, 300));
  EXPECT_EQ(one.title.substr(0, 14), "../../up  down");
  EXPECT_EQ(one.title.size(), 1000u);
  EXPECT_EQ(one.artist.substr(0, 11), "\xef\xbf\xbd\xef\xbf\xbd and ");
}

}  // namespace
}  // namespace lacuna::test
