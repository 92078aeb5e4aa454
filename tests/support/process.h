// SPDX-License-Identifier: GPL-3.0-or-later
// Runs a program the way a shell would, with its streams held by the test.
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace lacuna::test {

struct ProcessOptions {
  std::filesystem::path in{};                   ///< Working folder; empty: the test's own.
  std::string stdout_to{};                      ///< A file that takes standard output, such as /dev/full.
  bool stdout_closed = false;                   ///< Started with standard output closed.
  std::optional<std::size_t> stdout_reads{};    ///< Read so many bytes of standard output, then close the pipe.
  std::optional<std::uint64_t> largest_file{};  ///< No file may grow beyond it (RLIMIT_FSIZE, no signal).
  /// Called a few hundred times a second while the program runs; its process id is given.
  std::function<void(int)> meanwhile{};
};

struct ProcessResult {
  int status = -1;  ///< As a shell gives it: 128 + N when signal N ended it.
  std::string out, err;
};

/// `arguments[0]` is the program's path. Locale and time zone are set to C.UTF-8 and UTC.
ProcessResult run_process(const std::vector<std::string>& arguments, const ProcessOptions& options = {});

}  // namespace lacuna::test
