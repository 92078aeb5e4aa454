// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/direct_store.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <new>
#include <utility>

namespace lacuna {
namespace {

constexpr std::align_val_t kPage{4096};

}  // namespace

Result<std::unique_ptr<ByteStore>> DirectStore::open(const std::filesystem::path& path, bool regular_files) {
  Result<OpenedFile> file = open_for_reading(path, O_DIRECT);
  if (!file) return file.error();
  if (!file->is_device && !regular_files) {
    return Error{ErrorCode::kUsage,
                 fmt::format("'{}' is a file, where the device of a drive is needed", path.string())};
  }
  return std::unique_ptr<ByteStore>(std::make_unique<DirectStore>(std::move(file).value()));
}

DirectStore::DirectStore(OpenedFile file)
    : file_(std::move(file)), direct_((::fcntl(file_.handle.get(), F_GETFL) & O_DIRECT) != 0) {
  if (!direct_) use_cache();
}

void DirectStore::use_cache() const {
  const int fd = file_.handle.get();
  const int flags = ::fcntl(fd, F_GETFL);
  if (flags >= 0) ::fcntl(fd, F_SETFL, flags & ~O_DIRECT);
  ::posix_fadvise(fd, 0, 0, POSIX_FADV_RANDOM);
  direct_ = false;
}

ReadAnswer DirectStore::read_some(std::uint64_t at_byte, std::span<std::uint8_t> out) const {
  for (;;) {
    const bool direct = direct_;
    const ssize_t n = ::pread(file_.handle.get(), out.data(), out.size(), static_cast<off_t>(at_byte));
    if (n >= 0) return {static_cast<std::size_t>(n), 0};
    if (errno != EINVAL || !direct) return {0, errno};
    use_cache();
  }
}

AlignedBytes::AlignedBytes(std::size_t bytes)
    : bytes_(static_cast<std::uint8_t*>(::operator new(std::max<std::size_t>(bytes, 1), kPage))), size_(bytes) {
  std::ranges::fill(all(), std::uint8_t{0});
}

void AlignedBytes::Free::operator()(std::uint8_t* p) const noexcept { ::operator delete(p, kPage); }

}  // namespace lacuna
