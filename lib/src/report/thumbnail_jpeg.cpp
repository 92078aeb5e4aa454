// SPDX-License-Identifier: GPL-3.0-or-later
// JPEG by libjpeg, which reports errors by a jump: nothing that has a destructor lives in the functions it jumps over.
#include <csetjmp>
#include <cstdio>
// libjpeg's headers need FILE from before them.
#include <jerror.h>
#include <jpeglib.h>

#include <algorithm>
#include <cstdlib>

#include "report/thumbnails.h"

namespace lacuna::report {
namespace {

/// Progressive files can ask for any number of passes over all of a picture.
constexpr int kMostScans = 100;
constexpr std::uint64_t kMostScannedPixels = 1'000'000'000;

struct Errors {
  jpeg_error_mgr base;  // First, so that libjpeg's pointer is a pointer to this.
  std::jmp_buf jump;
};

struct Passes {
  jpeg_progress_mgr base;
  std::uint64_t pixels;
};

[[noreturn]] void give_up(j_common_ptr info) { std::longjmp(reinterpret_cast<Errors*>(info->err)->jump, 1); }

/// A warning (level -1) is of corrupt data: what is decoded then is a guess. But some cameras pad between markers.
void on_message(j_common_ptr info, int level) {
  if (level < 0 && info->err->msg_code != JWRN_EXTRANEOUS_DATA) give_up(info);
}

void count_passes(j_common_ptr info) {
  const auto* d = reinterpret_cast<j_decompress_ptr>(info);
  const auto* passes = reinterpret_cast<const Passes*>(info->progress);
  const auto scans = static_cast<std::uint64_t>(std::max(d->input_scan_number, 1));
  if (d->input_scan_number > kMostScans || scans * passes->pixels > kMostScannedPixels) give_up(info);
}

void set_errors(jpeg_error_mgr*& in, Errors& errors) {
  in = jpeg_std_error(&errors.base);
  errors.base.error_exit = give_up;
  errors.base.emit_message = on_message;
  errors.base.output_message = [](j_common_ptr) {};
}

/// The smallest eighths of the size that are enough for a thumbnail.
unsigned eighths_for(unsigned width, unsigned height) {
  const unsigned longer = std::max(width, height);
  unsigned eighths = 1;
  while (eighths < 8 && std::uint64_t{longer} * eighths / 8 < kThumbnailEdge) ++eighths;
  return eighths;
}

/// Inks as Adobe's programs store them, the other way round; common practice, no source.
void rgb_from_inks(const std::uint8_t* inks, std::uint8_t* rgb, std::uint32_t width) {
  for (; width != 0; --width, inks += 4, rgb += 3) {
    for (int c = 0; c < 3; ++c) rgb[c] = static_cast<std::uint8_t>(inks[c] * inks[3] / 255);
  }
}

bool decode_into(std::span<const std::uint8_t> file, Pixels& pixels, std::vector<std::uint8_t>& row) {
  jpeg_decompress_struct d;
  Errors errors;
  Passes passes;
  set_errors(d.err, errors);
  if (setjmp(errors.jump) != 0) {
    jpeg_destroy_decompress(&d);
    return false;
  }
  jpeg_create_decompress(&d);
  d.mem->max_memory_to_use = static_cast<long>(kDecoderBytes);
  jpeg_mem_src(&d, file.data(), static_cast<unsigned long>(file.size()));
  jpeg_read_header(&d, TRUE);
  passes.pixels = std::uint64_t{d.image_width} * d.image_height;
  if (passes.pixels > kMostPixels) give_up(reinterpret_cast<j_common_ptr>(&d));
  passes.base.progress_monitor = count_passes;
  d.progress = &passes.base;
  const bool inks = d.num_components == 4;
  d.out_color_space = inks ? JCS_CMYK : JCS_RGB;
  d.scale_num = eighths_for(d.image_width, d.image_height);
  d.scale_denom = 8;
  d.dct_method = JDCT_ISLOW;
  jpeg_start_decompress(&d);
  pixels.width = d.output_width;
  pixels.height = d.output_height;
  pixels.rgb.resize(std::size_t{pixels.width} * pixels.height * 3);
  row.resize(std::size_t{pixels.width} * 4);
  while (d.output_scanline < d.output_height) {
    std::uint8_t* to = pixels.rgb.data() + std::size_t{d.output_scanline} * pixels.width * 3;
    JSAMPROW line = inks ? row.data() : to;
    jpeg_read_scanlines(&d, &line, 1);
    if (inks) rgb_from_inks(row.data(), to, pixels.width);
  }
  jpeg_finish_decompress(&d);
  jpeg_destroy_decompress(&d);
  return true;
}

/// `bytes` is malloc's; the caller frees it.
bool encode_into(const Pixels& pixels, unsigned char*& bytes, unsigned long& size) {
  jpeg_compress_struct c;
  Errors errors;
  set_errors(c.err, errors);
  if (setjmp(errors.jump) != 0) {
    jpeg_destroy_compress(&c);
    return false;
  }
  jpeg_create_compress(&c);
  jpeg_mem_dest(&c, &bytes, &size);
  c.image_width = pixels.width;
  c.image_height = pixels.height;
  c.input_components = 3;
  c.in_color_space = JCS_RGB;
  jpeg_set_defaults(&c);
  jpeg_set_quality(&c, 70, TRUE);
  c.optimize_coding = TRUE;
  jpeg_start_compress(&c, TRUE);
  while (c.next_scanline < c.image_height) {
    auto* line = const_cast<std::uint8_t*>(pixels.rgb.data()) + std::size_t{c.next_scanline} * pixels.width * 3;
    jpeg_write_scanlines(&c, &line, 1);
  }
  jpeg_finish_compress(&c);
  jpeg_destroy_compress(&c);
  return true;
}

}  // namespace

std::optional<Pixels> decode_jpeg(std::span<const std::uint8_t> file) {
  Pixels pixels;
  std::vector<std::uint8_t> row;
  if (!decode_into(file, pixels, row)) return {};
  return pixels;
}

std::string encode_jpeg(const Pixels& pixels) {
  unsigned char* bytes = nullptr;
  unsigned long size = 0;
  std::string jpeg;
  if (encode_into(pixels, bytes, size)) jpeg.assign(reinterpret_cast<const char*>(bytes), size);
  std::free(bytes);
  return jpeg;
}

}  // namespace lacuna::report
