// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/thumbnails.h"

#include <gmock/gmock.h>
#include <png.h>

#include "report/museum.h"

namespace lacuna::test {
namespace {

using report::Pixels;

Pixels plain(std::uint32_t width, std::uint32_t height, std::uint8_t red, std::uint8_t green, std::uint8_t blue) {
  Pixels pixels{width, height, {}};
  for (std::size_t i = 0; i < std::size_t{width} * height; ++i) pixels.rgb.insert(pixels.rgb.end(), {red, green, blue});
  return pixels;
}

std::vector<std::uint8_t> bytes_of(const std::string& text) { return {text.begin(), text.end()}; }

std::vector<std::uint8_t> png_of(const Pixels& pixels) {
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  image.width = pixels.width;
  image.height = pixels.height;
  image.format = PNG_FORMAT_RGB;
  std::vector<std::uint8_t> bytes(PNG_IMAGE_PNG_SIZE_MAX(image));
  png_alloc_size_t size = bytes.size();
  EXPECT_NE(png_image_write_to_memory(&image, bytes.data(), &size, 0, pixels.rgb.data(), 0, nullptr), 0);
  bytes.resize(size);
  return bytes;
}

void expect_plain(const std::optional<Pixels>& pixels, std::uint8_t red, std::uint8_t green, std::uint8_t blue) {
  ASSERT_TRUE(pixels);
  ASSERT_EQ(pixels->rgb.size(), std::size_t{pixels->width} * pixels->height * 3);
  for (std::size_t i = 0; i < pixels->rgb.size(); i += 3) {
    ASSERT_NEAR(pixels->rgb[i], red, 4);
    ASSERT_NEAR(pixels->rgb[i + 1], green, 4);
    ASSERT_NEAR(pixels->rgb[i + 2], blue, 4);
  }
}

TEST(Thumbnails, AJpegIsDecodedAtAFractionOfItsSize) {
  const auto file = bytes_of(report::encode_jpeg(plain(1600, 800, 200, 40, 90)));
  const std::optional<Pixels> pixels = report::decode_jpeg(file);
  expect_plain(pixels, 200, 40, 90);
  EXPECT_LT(pixels->width, 400u);
  const Pixels small = report::shrunk(*pixels);
  EXPECT_EQ(small.width, 128u);
  EXPECT_EQ(small.height, 64u);
  expect_plain(small, 200, 40, 90);
}

TEST(Thumbnails, APngIsDecoded) { expect_plain(report::decode_png(png_of(plain(33, 7, 1, 250, 130))), 1, 250, 130); }

TEST(Thumbnails, ThinPicturesKeepAPixel) {
  const Pixels small = report::shrunk(plain(5000, 1, 9, 9, 9));
  EXPECT_EQ(small.width, 128u);
  EXPECT_EQ(small.height, 1u);
  EXPECT_EQ(report::shrunk(plain(20, 30, 9, 9, 9)).width, 20u);
}

TEST(Thumbnails, BrokenPicturesGiveNothingWhereverTheyEndOrDiffer) {
  const auto jpeg = bytes_of(report::encode_jpeg(plain(64, 48, 10, 20, 30)));
  const auto png = png_of(plain(64, 48, 10, 20, 30));
  for (std::size_t end = 0; end < jpeg.size() - 2; end += 5) {
    EXPECT_FALSE(report::decode_jpeg(std::span(jpeg).first(end))) << end;
  }
  // The last 12 bytes are IEND, whose loss costs no pixel.
  for (std::size_t end = 0; end < png.size() - 12; ++end)
    EXPECT_FALSE(report::decode_png(std::span(png).first(end))) << end;
  // Any byte may be anything: no crash, and nothing but a picture or nothing.
  std::uint32_t random = 1;
  for (int round = 0; round < 3000; ++round) {
    std::vector<std::uint8_t> file = round % 2 == 0 ? jpeg : png;
    for (int change = 0; change < 3; ++change) {
      random = random * 1664525 + 1013904223;
      file[(random >> 8) % file.size()] = static_cast<std::uint8_t>(random);
    }
    const std::optional<Pixels> pixels = round % 2 == 0 ? report::decode_jpeg(file) : report::decode_png(file);
    if (pixels) {
      EXPECT_EQ(pixels->rgb.size(), std::size_t{pixels->width} * pixels->height * 3);
    }
  }
}

TEST(Thumbnails, HugePicturesAreRefusedBeforeTheyTakeRoom) {
  // ISO/IEC 15948 11.2.2: width and height stand at 16 and 20 of the file, the CRC of IHDR at 29.
  std::vector<std::uint8_t> png = png_of(plain(8, 8, 1, 2, 3));
  for (const std::size_t at : {16u, 20u}) png[at] = 0x00, png[at + 1] = 0x0f, png[at + 2] = 0x42, png[at + 3] = 0x40;
  EXPECT_FALSE(report::decode_png(png));
  // ITU-T T.81 B.2.2: height and width behind the marker SOF0, its length and a byte of precision.
  std::vector<std::uint8_t> jpeg = bytes_of(report::encode_jpeg(plain(8, 8, 1, 2, 3)));
  for (std::size_t i = 0; i + 9 < jpeg.size(); ++i) {
    if (jpeg[i] != 0xff || jpeg[i + 1] != 0xc0) continue;
    for (std::size_t k = 5; k < 9; ++k) jpeg[i + k] = 0xff;
    break;
  }
  EXPECT_FALSE(report::decode_jpeg(jpeg));
}

/// A disc with pictures at LBA 20, 40 (cut in half), 60 (hurt), 70 (no picture).
class PictureDisc {
 public:
  PictureDisc() : jpeg_(report::encode_jpeg(plain(300, 200, 120, 60, 30))) {
    std::vector<std::uint8_t> bytes(100 * kSectorBytes, 0x41);
    const auto put = [&](std::size_t lba, std::string_view what) {
      std::ranges::copy(what, bytes.begin() + static_cast<std::ptrdiff_t>(lba * kSectorBytes));
    };
    put(20, jpeg_);
    put(40, jpeg_);
    put(60, jpeg_);
    MemoryImage memory(std::move(bytes));
    memory.mark(60, 1, SectorState::kBad);
    image_ = memory.open();
    hand_ = std::make_unique<HandDisc>(*image_);
    hand_->file("1 photo.dat", 20, jpeg_.size());
    hand_->file("2 half.jpg", 40, jpeg_.size() / 2);
    hand_->file("3 hurt.jpg", 60, jpeg_.size());
    hand_->file("4 text.jpg", 70, 500);
    hand_->file("5 empty.jpg", 0, {});
    hand_->finish();
  }
  const HandDisc& hand() const { return *hand_; }
  const Disc& disc() const { return hand_->disc(); }

 private:
  std::string jpeg_;
  std::unique_ptr<Image> image_;
  std::unique_ptr<HandDisc> hand_;
};

TEST(Thumbnails, OnlyOfWholeFilesKnownByTheirContents) {
  const PictureDisc d;
  const Verdicts verdicts = std::move(judge(d.disc())).value();
  const auto made = report::make_thumbnails(d.disc(), verdicts, {});
  ASSERT_TRUE(made.ok());
  EXPECT_EQ(made->pictures, 2u);
  EXPECT_EQ(made->broken, 1u);
  ASSERT_EQ(made->all.size(), 1u);
  EXPECT_EQ(made->all[0].node, d.hand().id("1 photo.dat"));
  EXPECT_EQ(made->all[0].width, 128u);
  expect_plain(report::decode_jpeg(bytes_of(made->all[0].jpeg)), 120, 60, 30);
}

TEST(Thumbnails, CanBeCancelled) {
  const PictureDisc d;
  const Verdicts verdicts = std::move(judge(d.disc())).value();
  const auto made = report::make_thumbnails(d.disc(), verdicts, [](const Progress&) { return false; });
  ASSERT_FALSE(made.ok());
  EXPECT_EQ(made.error().code, ErrorCode::kCancelled);
}

}  // namespace
}  // namespace lacuna::test
