// SPDX-License-Identifier: GPL-3.0-or-later
// CDisc: a small ISO 9660 disc in memory behind a source of the caller's own, for the tests of the C interface.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <atomic>
#include <cstring>
#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "lacuna/lacuna.h"
#include "support/iso_builder.h"

namespace lacuna::test {

template <auto Free>
struct Freeing {
  template <class T>
  void operator()(T* p) const {
    Free(p);
  }
};
using CImage = std::unique_ptr<lacuna_image, Freeing<lacuna_image_free>>;
using COpened = std::unique_ptr<lacuna_disc, Freeing<lacuna_disc_free>>;
using CFiles = std::unique_ptr<lacuna_files, Freeing<lacuna_files_free>>;
using CFile = std::unique_ptr<lacuna_file, Freeing<lacuna_file_free>>;
using CError = std::unique_ptr<lacuna_error, Freeing<lacuna_error_free>>;
using CRuns = std::unique_ptr<lacuna_runs, Freeing<lacuna_runs_free>>;
using CReport = std::unique_ptr<lacuna_pull_report, Freeing<lacuna_pull_report_free>>;

inline std::string text_of(lacuna_string s) { return {s.data, s.bytes}; }
inline std::string message_of(const CError& error) { return text_of(lacuna_error_message(error.get())); }

template <class T>
T sized() {
  T t{};
  t.struct_bytes = sizeof(T);
  return t;
}

/// Text in which no sector is like another.
inline std::string content(std::string_view title, std::size_t bytes) {
  std::string out;
  for (int line = 0; out.size() < bytes; ++line)
    out.append(title).append(" ").append(std::to_string(line * 7919)).append("\n");
  out.resize(bytes);
  return out;
}

class CDisc {
 public:
  /// LETTER.TXT 5000 bytes; PHOTO.JPG 60000 bytes; SUB/NOTE.TXT 300 bytes.
  CDisc()
      : iso_(build_iso(iso_directory(
            "", {iso_file("LETTER.TXT;1", content("letter", 5000)), iso_file("PHOTO.JPG;1", content("photo", 60000)),
                 iso_directory("SUB", {iso_file("NOTE.TXT;1", content("note", 300))})}))) {}

  std::uint64_t end_lba() const { return iso_.end_lba(); }
  std::vector<std::uint8_t>& bytes() { return iso_.bytes; }
  /// First sector of a file.
  std::uint64_t lba_of(const std::string& path) const { return iso_.primary.at(path).extent / 2048; }

  /// What a read does with a sector instead of giving it as good.
  std::function<void(std::uint64_t lba, std::uint8_t* bytes, lacuna_sector_state& state)> alter;
  /// What a read gives; 0 unless it is set.
  std::function<std::int32_t(std::uint64_t lba, std::size_t count)> answer;
  std::atomic<int> reads{0}, released{0};

  lacuna_source source() {
    auto s = sized<lacuna_source>();
    s.end_lba = end_lba();
    s.name = lacuna_text("memory");
    s.user = this;
    s.read = read;
    s.release = [](void* user) { ++static_cast<CDisc*>(user)->released; };
    return s;
  }

  CImage image() {
    const lacuna_source s = source();
    return image_of(s);
  }
  static CImage image_of(const lacuna_source& s) {
    lacuna_image* image = nullptr;
    lacuna_error* error = nullptr;
    EXPECT_EQ(lacuna_image_from_source(&s, &image, &error), LACUNA_OK) << message_of(CError(error));
    return CImage(image);
  }
  COpened open() { return open_image(image()); }
  static COpened open_image(const CImage& image) {
    lacuna_disc* disc = nullptr;
    lacuna_error* error = nullptr;
    auto options = sized<lacuna_disc_options>();
    options.threads = 2;
    EXPECT_EQ(lacuna_disc_open(image.get(), &options, &disc, &error), LACUNA_OK) << message_of(CError(error));
    return COpened(disc);
  }

 private:
  static std::int32_t read(void* user, std::uint64_t lba, std::size_t count, std::uint8_t* bytes,
                           lacuna_sector_state* states) {
    CDisc& self = *static_cast<CDisc*>(user);
    ++self.reads;
    if (self.answer) {
      if (const std::int32_t given = self.answer(lba, count); given != 0) return given;
    }
    std::memcpy(bytes, self.iso_.bytes.data() + lba * 2048, count * 2048);
    for (std::size_t i = 0; i < count; ++i) {
      states[i] = LACUNA_SECTOR_GOOD;
      if (self.alter) self.alter(lba + i, bytes + i * 2048, states[i]);
    }
    return 0;
  }

  IsoImage iso_;
};

inline CFile find(const COpened& disc, const char* path) {
  lacuna_file* file = nullptr;
  lacuna_error* error = nullptr;
  EXPECT_EQ(lacuna_disc_find(disc.get(), lacuna_text(path), &file, &error), LACUNA_OK) << message_of(CError(error));
  return CFile(file);
}

inline lacuna_file_info info_of(const CFile& file) {
  auto info = sized<lacuna_file_info>();
  EXPECT_EQ(lacuna_file_get_info(file.get(), &info, nullptr), LACUNA_OK);
  return info;
}

/// All bytes with their runs, "good 0+2048, bad 2048+2048".
struct WholeRead {
  std::string bytes, runs;
};
inline WholeRead read_all(const CFile& file, std::size_t capacity = 64) {
  WholeRead out;
  std::string buffer(info_of(file).size, '?');
  std::vector<lacuna_byte_run> runs(capacity);
  for (std::uint64_t at = 0; at < buffer.size();) {
    std::size_t got = 0, count = 0;
    EXPECT_EQ(lacuna_file_read_runs(file.get(), at, buffer.data() + at, buffer.size() - at, &got, runs.data(), capacity,
                                    &count, nullptr),
              LACUNA_OK);
    if (got == 0) {
      ADD_FAILURE() << "a read that goes no further";
      break;
    }
    for (std::size_t i = 0; i < count; ++i) {
      out.runs += out.runs.empty() ? "" : ", ";
      out.runs += text_of(lacuna_sector_state_word(runs[i].state)) + " " + std::to_string(runs[i].offset) + "+" +
                  std::to_string(runs[i].bytes);
    }
    at += got;
  }
  out.bytes = buffer;
  return out;
}

}  // namespace lacuna::test
