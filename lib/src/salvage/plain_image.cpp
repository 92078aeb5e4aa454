// SPDX-License-Identifier: GPL-3.0-or-later
#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "base/bytes.h"
#include "lacuna/pull.h"
#include "salvage/output_folder.h"

namespace lacuna {
namespace {

constexpr std::size_t kChunkSectors = 512;

Result<const Track*> chosen_track(const Image& image, const std::optional<std::uint32_t>& number) {
  const auto usage = [&](std::string_view why) {
    return Error{ErrorCode::kUsage, fmt::format("{}: {}", image.name(), why)};
  };
  if (image.raw() == nullptr) return usage("is plain already: it has no tracks of raw sectors");
  for (const Track& t : image.raw()->tracks()) {
    if (number ? t.number != *number : t.audio) continue;
    if (t.audio) return usage(fmt::format("track {} is audio, and has no user data", t.number));
    return &t;
  }
  return usage(number ? fmt::format("has no track {}", *number) : std::string("has no data track"));
}

/// Writes the sectors; gives 0 or an errno.
int write_sectors(const Image& image, Range lbas, PartFile& file, const ProgressCallback& progress, bool& cancelled,
                  std::uint64_t& missing) {
  std::vector<std::uint8_t> bytes(kChunkSectors * kSectorBytes);
  std::vector<SectorState> states(kChunkSectors);
  for (std::uint64_t lba = lbas.first; lba < lbas.end;) {
    const auto n = static_cast<std::size_t>(std::min<std::uint64_t>(kChunkSectors, lbas.end - lba));
    image.read(lba, std::span(bytes).first(n * kSectorBytes), std::span(states).first(n));
    missing += static_cast<std::uint64_t>(
        std::ranges::count_if(std::span(states).first(n), [](SectorState s) { return !has_bytes(s); }));
    const int error = file.write_sparse_at((lba - lbas.first) * kSectorBytes, Bytes(bytes).first(n * kSectorBytes));
    if (error != 0) return error;
    lba += n;
    if (progress &&
        !progress({"writing the plain image", (lba - lbas.first) * kSectorBytes, lbas.length() * kSectorBytes})) {
      cancelled = true;
      return 0;
    }
  }
  return file.set_size(lbas.length() * kSectorBytes);
}

}  // namespace

Result<PlainImage> write_plain_image(const Image& image, const PlainOptions& options) {
  const Result<const Track*> track = chosen_track(image, options.track);
  if (!track) return track.error();
  const Range lbas{(*track)->first_lba, std::min((*track)->first_lba + (*track)->sectors, image.end_lba())};
  const std::filesystem::path parent = options.to.has_parent_path() ? options.to.parent_path() : ".";
  const std::string name = options.to.filename().string(), map_name = name + ".map";
  if (!is_inside_path(name)) return cannot_write(options.to, EINVAL);
  const Result<Directory> folder = open_folder(parent, FolderUse::kWrite);
  if (!folder) return folder.error();
  for (const std::string& taken : {name, map_name}) {
    std::optional<struct stat> there;
    if (const int error = look_at((*folder)->get(), taken, there); error != 0)
      return cannot_write(parent / taken, error);
    if (there) return cannot_write(parent / taken, EEXIST);
  }
  PlainImage written{lbas.first, lbas.length(), 0};
  PartFile file, map_file;
  bool cancelled = false;
  int error = file.create(*folder, "." + name + ".lacuna-part");
  if (error == 0) error = write_sectors(image, lbas, file, options.progress, cancelled, written.missing);
  if (cancelled) return Error{ErrorCode::kCancelled, "cancelled while writing the plain image"};
  if (error != 0) return cannot_write(options.to, error);
  // Reading may have brought up more: the map comes after it.
  SectorMap map = SectorMap::from_runs(image.data_states().slice(lbas.first, lbas.end), SectorState::kAbsent);
  map.set_basis(image.basis());
  error = map_file.create(*folder, "." + map_name + ".lacuna-part");
  if (error == 0) error = write_fully(map_file.fd(), to_map_text(map, lbas.end));
  if (error == 0) error = map_file.publish(map_name, false);
  if (error != 0) return cannot_write(parent / map_name, error);
  error = file.publish(name, false);
  if (error != 0) return cannot_write(options.to, error);
  return written;
}

}  // namespace lacuna
