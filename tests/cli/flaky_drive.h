// SPDX-License-Identifier: GPL-3.0-or-later
// FlakyDrive: a file that a program reads as if it were a failing drive (support/flaky_drive.cpp has the script's
// words).
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "support/authoring.h"
#include "support/process.h"

namespace lacuna::test {

class FlakyDrive {
 public:
  /// Script and log lie in `folder`, as NAME.script and NAME.log.
  FlakyDrive(const ScratchFolder& folder, std::filesystem::path file, std::string name = "flaky");

  /// From now on.
  void set_script(const std::string& script) const;

  /// Runs a program, by its path, with the drive failing.
  ProcessResult run(const std::vector<std::string>& arguments, const ProcessOptions& options = {}) const;

  /// A request for sectors, of all runs so far.
  struct Request {
    std::uint64_t first = 0, asked = 0, tried = 0, good = 0;
    int error = 0;
  };
  std::vector<Request> requests() const;
  /// How often a sector was given whole, by LBA.
  std::map<std::uint64_t, unsigned> times_good() const;
  /// How often it was tried.
  std::map<std::uint64_t, unsigned> times_tried() const;

 private:
  std::filesystem::path file_, script_, log_;
};

}  // namespace lacuna::test
