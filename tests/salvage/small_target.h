// SPDX-License-Identifier: GPL-3.0-or-later
// SmallTarget: a target that fills up or can't be written, for tests of trouble.
#pragma once

#include <sys/mount.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <string>
#include <utility>

namespace lacuna::test {

/// A small file system in memory, which needs the rights of the administrator.
class SmallTarget {
 public:
  explicit SmallTarget(std::filesystem::path at) : at_(std::move(at)) {
    std::filesystem::create_directories(at_);
    mounted_ = ::mount("lacuna-test", at_.c_str(), "tmpfs", 0, "size=1m") == 0;
    reason_ = std::strerror(errno);
  }
  ~SmallTarget() {
    if (mounted_) ::umount2(at_.c_str(), MNT_DETACH);
  }
  SmallTarget(const SmallTarget&) = delete;
  SmallTarget& operator=(const SmallTarget&) = delete;
  bool remount(unsigned long flags, const char* options) const {
    return ::mount("lacuna-test", at_.c_str(), "tmpfs", MS_REMOUNT | flags, options) == 0;
  }
  bool mounted() const { return mounted_; }
  const std::string& reason() const { return reason_; }

 private:
  std::filesystem::path at_;
  bool mounted_ = false;
  std::string reason_;
};

}  // namespace lacuna::test
