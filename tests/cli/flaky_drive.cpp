// SPDX-License-Identifier: GPL-3.0-or-later
#include "cli/flaky_drive.h"

#include <fstream>
#include <utility>

namespace lacuna::test {

FlakyDrive::FlakyDrive(const ScratchFolder& folder, std::filesystem::path file, std::string name)
    : file_(std::move(file)), script_(folder / (name + ".script")), log_(folder / (name + ".log")) {
  set_script("");
}

void FlakyDrive::set_script(const std::string& script) const { write_file(script_, script); }

ProcessResult FlakyDrive::run(const std::vector<std::string>& arguments, const ProcessOptions& options) const {
  std::vector<std::string> all{"/usr/bin/env", "LD_PRELOAD=" LACUNA_FLAKY_DRIVE, "LACUNA_FLAKY_PATH=" + file_.string(),
                               "LACUNA_FLAKY_SCRIPT=" + script_.string(), "LACUNA_FLAKY_LOG=" + log_.string()};
  all.insert(all.end(), arguments.begin(), arguments.end());
  return run_process(all, options);
}

std::vector<FlakyDrive::Request> FlakyDrive::requests() const {
  std::vector<Request> all;
  std::ifstream log(log_);
  for (Request r; log >> r.first >> r.asked >> r.tried >> r.good >> r.error;) all.push_back(r);
  return all;
}

std::map<std::uint64_t, unsigned> FlakyDrive::times_good() const {
  std::map<std::uint64_t, unsigned> times;
  for (const Request& r : requests()) {
    for (std::uint64_t lba = r.first; lba < r.first + r.good; ++lba) ++times[lba];
  }
  return times;
}

std::map<std::uint64_t, unsigned> FlakyDrive::times_tried() const {
  std::map<std::uint64_t, unsigned> times;
  for (const Request& r : requests()) {
    for (std::uint64_t lba = r.first; lba < r.first + r.tried; ++lba) ++times[lba];
  }
  return times;
}

}  // namespace lacuna::test
