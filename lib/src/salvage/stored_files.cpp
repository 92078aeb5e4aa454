// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/stored_files.h"

#include <algorithm>
#include <charconv>
#include <cstring>
#include <tuple>

namespace lacuna {
namespace {

template <std::size_t N>
bool from_hex(std::string_view text, std::array<std::uint8_t, N>& out) {
  if (text.size() != 2 * N) return false;
  for (std::size_t i = 0; i < N; ++i) {
    const char* const at = text.data() + 2 * i;
    if (std::from_chars(at, at + 2, out[i], 16).ptr != at + 2) return false;
  }
  return true;
}

std::uint64_t content_key(const std::array<std::uint8_t, 16>& xxh3_128, std::uint64_t bytes) {
  std::uint64_t half = 0;  // of a good hash: as good a key as any
  std::memcpy(&half, xxh3_128.data(), sizeof half);
  return half ^ bytes;
}

}  // namespace

Timestamp from_iso8601(std::string_view text) {
  bool good = true;
  const auto number = [&](std::size_t digits) {
    int value = 0;
    good = good && text.size() >= digits && text[0] >= '0' && text[0] <= '9' &&
           std::from_chars(text.data(), text.data() + digits, value).ptr == text.data() + digits;
    text.remove_prefix(std::min(digits, text.size()));
    return value;
  };
  const auto next = [&](std::string_view any) {
    const char c = text.empty() ? '\0' : text[0];
    good = good && any.find(c) != std::string_view::npos;
    text.remove_prefix(std::min<std::size_t>(1, text.size()));
    return c;
  };
  const int year = number(4);
  next("-");
  const int month = number(2);
  next("-");
  const int day = number(2);
  next("T");
  const int hour = number(2);
  next(":");
  const int minute = number(2);
  next(":");
  const int second = number(2);
  std::int32_t nanoseconds = 0;
  if (good && text.starts_with('.')) {
    text.remove_prefix(1);
    std::int32_t unit = 100'000'000;
    for (; !text.empty() && text[0] >= '0' && text[0] <= '9' && unit != 0; unit /= 10) {
      nanoseconds += unit * (text[0] - '0');
      text.remove_prefix(1);
    }
  }
  const char sign = next("+-");
  int zone = number(2) * 60;
  next(":");
  zone += number(2);
  if (!good || !text.empty()) return {};
  return make_timestamp(year, month, day, hour, minute, second, nanoseconds, sign == '-' ? -zone : zone)
      .value_or(Timestamp{});
}

const Timestamp& older_of(const Timestamp& a, const Timestamp& b) {
  if (!a.known || !b.known) return b.known ? b : a;
  return std::tie(b.seconds, b.nanoseconds) < std::tie(a.seconds, a.nanoseconds) ? b : a;
}

StoredFiles::File& StoredFiles::file(std::string_view path, bool& added) {
  if (const auto it = by_path_.find(path); it != by_path_.end()) {
    added = false;
    return files_[it->second];
  }
  added = true;
  File& f = files_.emplace_back();
  f.path = paths_.get(paths_.add(path));
  by_path_.emplace(f.path, files_.size() - 1);
  return f;
}

void StoredFiles::index(const File& f, std::size_t at) { by_content_.emplace(content_key(f.xxh3_128, *f.bytes), at); }

void StoredFiles::add(const ManifestEntry& e, bool foreign) {
  const std::lock_guard lock(mutex_);
  bool added = false;
  if (!e.gap_list.empty()) {
    File& list = file(e.gap_list, added);
    if (added && !from_hex(e.gap_list_sha256, list.sha256)) list.sha256 = {};
    list.is_foreign |= foreign;
  }
  if (!e.in_folder() || !e.link.empty()) return;
  File told;
  if (!from_hex(e.sums.xxh3_128, told.xxh3_128) || !from_hex(e.sums.sha256, told.sha256)) return;
  File& f = file(e.target, added);
  const bool whole = e.state == FileState::kWhole;
  f.is_foreign |= foreign;
  f.is_own |= !foreign && !e.shared;
  if (added) {
    f.bytes = e.bytes_in_folder();
    f.xxh3_128 = told.xxh3_128;
    f.sha256 = told.sha256;
    f.is_whole = whole;
    index(f, files_.size() - 1);
  } else {
    f.is_whole =
        f.is_whole && whole && f.bytes == e.bytes_in_folder() && f.sha256 == told.sha256 && f.xxh3_128 == told.xxh3_128;
  }
  f.modified = older_of(f.modified, from_iso8601(e.modified));
}

void StoredFiles::store(const ManifestEntry& e) {
  const std::lock_guard lock(mutex_);
  File told;
  if (!from_hex(e.sums.xxh3_128, told.xxh3_128) || !from_hex(e.sums.sha256, told.sha256)) return;
  bool added = false;
  File& f = file(e.target, added);
  const bool known = !added && f.bytes == e.bytes_in_folder() && f.xxh3_128 == told.xxh3_128;
  f.bytes = e.bytes_in_folder();
  f.xxh3_128 = told.xxh3_128;
  f.sha256 = told.sha256;
  f.is_whole = e.state == FileState::kWhole;
  f.modified = older_of(f.modified, from_iso8601(e.modified));
  if (!known) index(f, by_path_.at(f.path));
}

std::vector<std::string> StoredFiles::of_content(const Checksums& sums, std::uint64_t bytes) const {
  std::array<std::uint8_t, 16> xxh3_128{};
  if (!from_hex(sums.xxh3_128, xxh3_128)) return {};
  const std::lock_guard lock(mutex_);
  std::vector<std::size_t> found;
  const auto [first, last] = by_content_.equal_range(content_key(xxh3_128, bytes));
  for (auto it = first; it != last; ++it) {
    const File& f = files_[it->second];
    if (f.is_whole && f.bytes == bytes && f.xxh3_128 == xxh3_128) found.push_back(it->second);
  }
  std::sort(found.begin(), found.end());
  found.erase(std::unique(found.begin(), found.end()), found.end());
  std::vector<std::string> out;
  for (const std::size_t i : found) out.emplace_back(files_[i].path);
  return out;
}

std::optional<Timestamp> StoredFiles::modified(std::string_view path) const {
  const std::lock_guard lock(mutex_);
  const auto it = by_path_.find(path);
  return it == by_path_.end() ? std::nullopt : std::optional(files_[it->second].modified);
}

bool StoredFiles::lower_date(std::string_view path, const Timestamp& modified) {
  const std::lock_guard lock(mutex_);
  const auto it = by_path_.find(path);
  if (it == by_path_.end()) return false;
  Timestamp& date = files_[it->second].modified;
  const Timestamp older = older_of(date, modified);
  if (older == date) return false;
  date = older;
  return true;
}

void StoredFiles::for_each(const std::function<void(const File&)>& f) const {
  const std::lock_guard lock(mutex_);
  for (const File& file : files_) f(file);
}

}  // namespace lacuna
