// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/drive_read.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <utility>
#include <vector>

#include "base/bytes.h"
#include "combine/written_source.h"
#include "lacuna/sector_map.h"

namespace lacuna {
namespace {

constexpr std::string_view kHeadLines =
    "# What a drive gave so far. To go on, run the same lacuna combine again; it removes this file when it is done.\n"
    "#! default unread\n";
constexpr std::uint64_t kLargestMapBytes = std::uint64_t{1} << 30;
constexpr auto kBetweenFlushes = std::chrono::seconds(1);

Error trouble(const std::string& name, int error) {
  return {ErrorCode::kCannotWrite, fmt::format("{}: {}", name, errno_text(error))};
}

/// 0 or an errno; `there` tells whether the file was not new.
int open_or_make(const Directory& folder, const std::string& name, Fd& out, bool& there) {
  int error = open_at(folder->get(), name, O_RDWR | O_NOFOLLOW, out);
  there = error == 0;
  if (error == ENOENT) error = open_at(folder->get(), name, O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW, out);
  if (error != 0) return error;
  struct stat info {};
  if (::fstat(out.get(), &info) != 0) return errno;
  return S_ISREG(info.st_mode) ? 0 : EEXIST;
}

}  // namespace

Result<DriveRead> DriveRead::open(Directory folder, const std::string& name, std::uint64_t sectors) {
  DriveRead read;
  read.folder_ = std::move(folder);
  read.name_ = name_beside(name);
  read.map_name_ = read.name_ + ".map";
  read.sectors_ = sectors;
  bool bytes_there = false, map_there = false;
  if (const int error = open_or_make(read.folder_, read.name_, read.bytes_, bytes_there); error != 0) {
    return trouble(read.name_, error);
  }
  if (const int error = open_or_make(read.folder_, read.map_name_, read.map_, map_there); error != 0) {
    return trouble(read.map_name_, error);
  }
  if (bytes_there && map_there) {
    if (const Result<Done> loaded = read.load(read.map_name_); !loaded) return loaded.error();
  } else if (bytes_there || map_there) {
    return Error{
        ErrorCode::kBadInput,
        fmt::format("of {} and {} only one is there; what an earlier run saved can't be used without the other: "
                    "find it, or move this one away",
                    read.name_, read.map_name_)};
  }
  struct stat info {};
  if (::fstat(read.map_.get(), &info) != 0) return trouble(read.map_name_, errno);
  if (info.st_size == 0) {
    if (const int error = write_fully(read.map_.get(), kHeadLines); error != 0) return trouble(read.map_name_, error);
  }
  if (::ftruncate(read.bytes_.get(), static_cast<off_t>(sectors * kSectorBytes)) != 0)
    return trouble(read.name_, errno);
  return read;
}

Result<Done> DriveRead::load(const std::string& shown_name) {
  struct stat info {};
  if (::fstat(map_.get(), &info) != 0) return trouble(shown_name, errno);
  const auto size = static_cast<std::uint64_t>(info.st_size);
  if (size > kLargestMapBytes)
    return Error{ErrorCode::kBadInput, shown_name + " is too large to be a map; move it away"};
  std::vector<std::uint8_t> bytes(static_cast<std::size_t>(size));
  std::size_t got = 0;
  if (const int error = read_fully_at(map_.get(), 0, bytes, got); error != 0) return trouble(shown_name, error);
  std::string_view text = as_text(Bytes(bytes).first(got));
  // Stopped while a line was written.
  text = text.substr(0, text.rfind('\n') == std::string_view::npos ? 0 : text.rfind('\n') + 1);
  if (::ftruncate(map_.get(), static_cast<off_t>(text.size())) != 0) return trouble(shown_name, errno);
  if (::lseek(map_.get(), 0, SEEK_END) < 0) return trouble(shown_name, errno);
  if (text.size() <= kHeadLines.size()) return Done{};
  const Result<SectorMap> map = parse_sector_map(text, shown_name);
  if (!map) return map.error();
  resumed_ = true;
  std::vector<Range> good;
  for (const SectorRun& run : map->runs()) {
    if (run.end() > sectors_) {
      return Error{ErrorCode::kBadInput,
                   fmt::format("{} names LBA {}, and the disc in the drive ends at {}: it is of another disc; move it "
                               "away with its image, or give another name to write to",
                               shown_name, run.end() - 1, sectors_)};
    }
    if (run.state == SectorState::kGood) good.push_back({run.first, run.end()});
  }
  good_ = RangeSet::from_unsorted(std::move(good));
  // Each line of a failure is one sector and one try. The map has been understood, so what is not such a line is no
  // matter here.
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    const std::string_view line = text.substr(at, end - at);
    if (line.ends_with(" 1 bad")) {
      std::uint64_t lba = 0;
      if (std::from_chars(line.data(), line.data() + line.size(), lba).ec == std::errc{}) ++tries_[lba];
    }
    at = end + 1;
  }
  return Done{};
}

int DriveRead::append(std::uint64_t first, std::uint64_t count, SectorState state) {
  fmt::format_to(std::back_inserter(lines_), "{} {} {}\n", first, count, to_string(state));
  return std::chrono::steady_clock::now() - flushed_ < kBetweenFlushes ? 0 : flush();
}

int DriveRead::record_good(std::uint64_t lba, Bytes bytes) {
  if (const int error = write_fully_at(bytes_.get(), lba * kSectorBytes, bytes); error != 0) return error;
  const std::uint64_t count = bytes.size() / kSectorBytes;
  good_.add({lba, lba + count});
  return append(lba, count, SectorState::kGood);
}

int DriveRead::record_failed(std::uint64_t lba) {
  ++tries_[lba];
  return append(lba, 1, SectorState::kBad);
}

int DriveRead::flush() {
  flushed_ = std::chrono::steady_clock::now();
  if (lines_.empty()) return 0;
  if (::fdatasync(bytes_.get()) != 0 && errno != EINVAL) return errno;
  const int error = write_fully(map_.get(), lines_);
  if (error == 0) lines_.clear();
  return error;
}

Result<std::unique_ptr<Image>> DriveRead::image() {
  if (const int error = flush(); error != 0) return trouble(name_, error);
  Fd fd(::dup(bytes_.get()));
  if (!fd.valid()) return trouble(name_, errno);
  std::vector<SectorRun> runs;
  for (const auto& [lba, tried] : tries_) runs.push_back({lba, 1, SectorState::kBad});
  for (const Range& r : good_.ranges()) runs.push_back({r.first, r.length(), SectorState::kGood});
  std::vector<SectorMap> maps;
  maps.push_back(SectorMap::from_runs(std::move(runs), SectorState::kUnread));
  return Image::from_source(std::make_unique<WrittenSource>(std::move(fd), 0, sectors_), std::move(maps), name_);
}

int DriveRead::remove() {
  for (const std::string& name : {name_, map_name_}) {
    if (::unlinkat(folder_->get(), name.c_str(), 0) != 0 && errno != ENOENT) return errno;
  }
  return 0;
}

}  // namespace lacuna
