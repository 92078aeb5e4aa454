// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/combined_files.h"

#include <optional>
#include <utility>
#include <vector>

#include "combine/drive_read.h"
#include "combine/reads_record.h"
#include "salvage/same_bytes.h"

namespace lacuna {

Result<CombinedFiles> CombinedFiles::open(const std::filesystem::path& to) {
  CombinedFiles files;
  files.parent_ = to.has_parent_path() ? to.parent_path() : ".";
  files.name_ = to.filename().string();
  if (!is_inside_path(files.name_)) return cannot_write(to, EINVAL);
  Result<Directory> folder = open_folder(files.parent_, FolderUse::kWrite);
  if (!folder) return folder.error();
  files.folder_ = std::move(folder).value();
  const auto refusal = [&](const std::string& name) {
    std::optional<struct stat> there;
    const int error = look_at(files.folder_->get(), name, there);
    return error == 0 && there ? EEXIST : error;
  };
  const bool goes_on = refusal(DriveRead::name_beside(files.name_)) == EEXIST;
  for (const std::string& name : {files.name_, files.map_name(), files.record_name(), files.cue_name()}) {
    const int error = refusal(name);
    if (error == EEXIST && goes_on && name != files.name_) continue;
    if (error != 0) return cannot_write(files.parent_ / name, error);
  }
  if (const int error = files.image_.create(files.folder_, "." + files.name_ + ".lacuna-part"); error != 0) {
    return cannot_write(to, error);
  }
  return files;
}

template <class Write>
Result<Done> CombinedFiles::write_beside(const std::string& name, Write&& write) {
  PartFile file;
  int error = file.create(folder_, "." + name + ".lacuna-part");
  if (error == 0) error = write([&](std::string_view text) { return write_fully(file.fd(), text); });
  std::vector<std::uint8_t> room(std::size_t{128} << 10);
  if (error == 0 && has_same_bytes(folder_, name, file.fd(), room)) return Done{};
  if (error == 0) error = file.publish(name, false);
  if (error != 0) return cannot_write(parent_ / name, error);
  return Done{};
}

Result<Done> CombinedFiles::publish(const SectorMap& map, const std::string& cue, const CombineReport& report,
                                    std::span<const DiscRead> reads, const SettledRuns& runs) {
  const auto put_map = [&](auto&& write) { return write(to_map_text(map, report.first_lba + report.sectors)); };
  const auto put_record = [&](auto&& write) { return write_reads_record(report, reads, runs, write); };
  const auto put_cue = [&](auto&& write) { return write(cue); };
  if (const Result<Done> written = write_beside(map_name(), put_map); !written) return written.error();
  if (const Result<Done> written = write_beside(record_name(), put_record); !written) return written.error();
  if (!cue.empty()) {
    if (const Result<Done> written = write_beside(cue_name(), put_cue); !written) return written.error();
  }
  int error = image_.set_size(report.sectors * (report.raw ? kRawSectorBytes : kSectorBytes));
  if (error == 0) error = image_.publish(name_, false);
  if (error != 0) return cannot_write(path(), error);
  return Done{};
}

}  // namespace lacuna
