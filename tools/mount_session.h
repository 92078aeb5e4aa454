// SPDX-License-Identifier: GPL-3.0-or-later
// The link between a MountedDisc and the kernel, through libfuse.
#pragma once

#include <memory>
#include <string>

#include "mounted_disc.h"

namespace lacuna::tool {

struct MountOptions {
  std::string source;      ///< What lists of mounts show; the image's name.
  bool all_users = false;  ///< Also for other users of the machine than the one who mounts.
};

/// A mounted disc. It is gone from its folder when this ends.
class MountSession {
 public:
  /// Mounts on an existing folder. The disc must outlive it. Throws Failure.
  MountSession(const MountedDisc& disc, const std::string& folder, const MountOptions& options);
  ~MountSession();
  MountSession(const MountSession&) = delete;
  MountSession& operator=(const MountSession&) = delete;

  /// Goes on in a process in the background; the one in the foreground ends with status 0. Throws Failure.
  void to_background();
  /// Answers the kernel until the disc is unmounted, or the process is told to stop. Throws Failure.
  void serve();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace lacuna::tool
