// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/spool.h"

#include <fmt/format.h>
#include <xxhash.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <string>
#include <system_error>

namespace lacuna {
namespace {

/// A file that no name leads to, also where the file system makes none such.
int open_spool(const std::filesystem::path& folder, Fd& file) {
  file = Fd(::open(folder.c_str(), O_TMPFILE | O_RDWR | O_CLOEXEC, 0600));
  if (file.valid()) return 0;
  std::string name = (folder / "lacuna-XXXXXX").string();
  file = Fd(::mkostemp(name.data(), O_CLOEXEC));
  if (!file.valid()) return errno;
  ::unlink(name.c_str());
  return 0;
}

}  // namespace

Error Spool::cannot_keep(int error) const {
  return {ErrorCode::kCannotWrite,
          fmt::format("cannot keep bytes of donors in '{}': {}; set TMPDIR to a folder with room", folder_.string(),
                      errno_text(error))};
}

Result<Spool::Stretch> Spool::keep(std::span<const std::uint8_t> bytes) {
  const XXH128_hash_t check = XXH3_128bits(bytes.data(), bytes.size());
  Stretch s{end_, static_cast<std::uint32_t>(bytes.size()), check.low64, check.high64};
  if (std::all_of(bytes.begin(), bytes.end(), [](std::uint8_t b) { return b == 0; })) {
    s.position = kAllZeros;
    return s;
  }
  if (!file_.valid()) {
    std::error_code none;
    if (folder_.empty()) folder_ = std::filesystem::temp_directory_path(none);
    if (const int error = open_spool(folder_, file_); error != 0) return cannot_keep(error);
  }
  if (const int error = write_fully_at(file_.get(), end_, bytes); error != 0) return cannot_keep(error);
  end_ += bytes.size();
  return s;
}

bool Spool::read(const Stretch& s, std::span<std::uint8_t> out) const {
  if (out.size() != s.bytes) return false;
  if (s.position == kAllZeros) {
    std::fill(out.begin(), out.end(), std::uint8_t{0});
  } else {
    std::size_t got = 0;
    if (read_fully_at(file_.get(), s.position, out, got) != 0 || got != out.size()) return false;
  }
  const XXH128_hash_t check = XXH3_128bits(out.data(), out.size());
  return check.low64 == s.check_low && check.high64 == s.check_high;
}

}  // namespace lacuna
