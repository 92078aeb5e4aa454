// SPDX-License-Identifier: GPL-3.0-or-later
// Audio tracks, and other content that is whole sectors, in the listings.
#include <gmock/gmock.h>

#include "report/museum.h"
#include "support/opened_raw.h"

namespace lacuna::test {
namespace {

using ::testing::HasSubstr;

RawImage album() {
  RawImage raw;
  raw.add_audio_track(1, 10);
  raw.tracks()[0].title = "Low Tide \xff\"";
  raw.tracks()[0].performer = "The Harbour Band";
  raw.add_audio_track(2, 6);
  raw.mark(12, 1, SectorState::kBad);
  return raw;
}

std::string listed(const OpenedRaw& disc, Format format) {
  return text_of([&](const Sink& sink) { write_files(disc.disc(), disc.verdicts(), {}, {}, format, sink); });
}

TEST(AudioListing, JsonCountsBytesOfTheFile) {
  const OpenedRaw disc(album());
  const rapidjson::Document d = json_of(listed(disc, Format::kJson));
  const auto& one = file_named(d, "_audio/track-01.wav");
  EXPECT_EQ(one["size"].GetUint64(), 44u + 10 * 2352);
  EXPECT_EQ(one["track"].GetUint(), 1u);
  EXPECT_STREQ(one["performer"].GetString(), "The Harbour Band");
  EXPECT_THAT(one["title"].GetString(), HasSubstr("Low Tide"));
  const auto& two = file_named(d, "_audio/track-02.wav");
  EXPECT_FALSE(two.HasMember("title"));
  ASSERT_EQ(two["extents"].Size(), 1u);
  const auto& extent = two["extents"][0];
  EXPECT_EQ(keys_of(extent), "offset,lba,bytes,raw_sectors");
  EXPECT_EQ(extent["offset"].GetUint64(), 44u);
  EXPECT_EQ(extent["lba"].GetUint64(), 10u);
  EXPECT_EQ(extent["bytes"].GetUint64(), 6u * 2352);
  EXPECT_TRUE(extent["raw_sectors"].GetBool());
  EXPECT_EQ(two["gaps"][0]["offset"].GetUint64(), 44u + 2 * 2352);
  EXPECT_EQ(two["gaps"][0]["length"].GetUint64(), 2352u);
}

TEST(AudioListing, CsvCountsThemToo) {
  EXPECT_THAT(listed(OpenedRaw(album()), Format::kCsv), HasSubstr(",44@10+14112,"));
}

TEST(AudioListing, TextShowsTitles) {
  EXPECT_THAT(listed(OpenedRaw(album()), Format::kText), HasSubstr("_audio/track-01.wav  (Low Tide"));
}

TEST(AudioListing, SurveyAndHitsOfADiscWithoutFileSystem) {
  const OpenedRaw disc(album());
  const Hits hits = find_hits(disc.disc(), disc.verdicts());
  for (const Format format : {Format::kText, Format::kJson}) {
    EXPECT_NE(text_of([&](const Sink& sink) { write_survey(disc.disc(), disc.verdicts(), hits, {}, format, sink); }),
              "");
    EXPECT_THAT(text_of([&](const Sink& sink) { write_hits(disc.disc(), disc.verdicts(), hits, {}, format, sink); }),
                HasSubstr("_audio/track-02.wav"));
  }
}

}  // namespace
}  // namespace lacuna::test
