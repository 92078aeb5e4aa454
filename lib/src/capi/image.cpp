// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/c/image.h"

#include <algorithm>
#include <vector>

#include "capi/callbacks.h"
#include "capi/handles.h"
#include "capi/source.h"
#include "capi/structs.h"
#include "capi/text.h"

namespace lacuna::capi {
namespace {

static_assert(sizeof(lacuna_sector_state) == sizeof(SectorState));

lacuna_image* open_image(std::span<const lacuna_string> given, const lacuna_image_options& options) {
  std::vector<std::filesystem::path> paths;
  for (const lacuna_string& path : given) paths.push_back(path_from(path, "paths"));
  ImageOptions o;
  for (const lacuna_string& map : array_from(options.maps, options.map_count, "lacuna_image_options: maps")) {
    o.maps.push_back(path_from(map, "lacuna_image_options: maps"));
  }
  need(options.starts_at_lba < kMaxSectors, "lacuna_image_options: starts_at_lba is beyond LBA 2^32");
  ProgressBridge progress(options.progress, options.progress_user);
  o.starts_at = options.starts_at_lba;
  o.threads = options.threads;
  o.progress = progress.callback();
  return std::make_unique<lacuna_image>(lacuna_image{progress.must(Image::open(paths, o))}).release();
}

void read_sectors(const Image& image, std::uint64_t lba, std::size_t count, std::uint8_t* bytes,
                  lacuna_sector_state* states) {
  need(count <= kMaxSectors, "lacuna_image_read: more sectors than any disc has");
  std::vector<SectorState> own(count);
  image.read(lba, {bytes, count * kSectorBytes}, own);
  std::transform(own.begin(), own.end(), states, [](SectorState s) { return static_cast<lacuna_sector_state>(s); });
}

}  // namespace
}  // namespace lacuna::capi

using namespace lacuna::capi;

lacuna_code lacuna_image_open(const lacuna_string* paths, std::size_t path_count, const lacuna_image_options* options,
                              lacuna_image** image, lacuna_error** error) {
  if (image != nullptr) *image = nullptr;
  return guarded(error, [&] {
    need(image != nullptr, "lacuna_image_open: image is NULL");
    need(path_count != 0, "lacuna_image_open: no path");
    *image = open_image(array_from(paths, path_count, "lacuna_image_open: paths"),
                        options_from(options, "lacuna_image_options"));
  });
}

lacuna_code lacuna_image_from_source(const lacuna_source* source, lacuna_image** image, lacuna_error** error) {
  if (image != nullptr) *image = nullptr;
  return guarded(error, [&] {
    need(image != nullptr, "lacuna_image_from_source: image is NULL");
    CheckedSource checked = source_from(source);
    CallerSource& ours = *checked.source;
    auto handle = std::make_unique<lacuna_image>();
    handle->image =
        lacuna::Image::from_source(std::move(checked.source), std::move(checked.maps), std::move(checked.name));
    ours.own();
    *image = handle.release();
  });
}

void lacuna_image_free(lacuna_image* image) { delete image; }

lacuna_code lacuna_image_get_info(const lacuna_image* image, lacuna_image_info* info, lacuna_error** error) {
  return guarded(error, [&] {
    need(image != nullptr, "lacuna_image_get_info: image is NULL");
    const lacuna::Image& i = *image->image;
    lacuna_image_info out{};
    out.name = to_c(i.name());
    out.first_lba = i.first_lba();
    out.end_lba = i.end_lba();
    out.end_byte = i.end_byte();
    out.finding_count = i.findings().list().size();
    out.basis = static_cast<lacuna_basis>(i.basis());
    out.has_map = i.has_map() ? 1 : 0;
    give_struct(info, out, "lacuna_image_info");
  });
}

lacuna_code lacuna_image_finding(const lacuna_image* image, std::size_t index, lacuna_finding* finding,
                                 lacuna_error** error) {
  return guarded(error, [&] {
    need(image != nullptr, "lacuna_image_finding: image is NULL");
    give_finding(image->image->findings(), index, finding);
  });
}

lacuna_code lacuna_image_read(const lacuna_image* image, std::uint64_t lba, std::size_t count, std::uint8_t* bytes,
                              lacuna_sector_state* states, lacuna_error** error) {
  return guarded(error, [&] {
    need(image != nullptr, "lacuna_image_read: image is NULL");
    if (count == 0) return;
    need(bytes != nullptr && states != nullptr, "lacuna_image_read: bytes or states is NULL");
    read_sectors(*image->image, lba, count, bytes, states);
  });
}

lacuna_code lacuna_image_runs(const lacuna_image* image, std::uint64_t first_lba, std::uint64_t end_lba,
                              lacuna_runs** runs, lacuna_error** error) {
  if (runs != nullptr) *runs = nullptr;
  return guarded(error, [&] {
    need(image != nullptr && runs != nullptr, "lacuna_image_runs: image or runs is NULL");
    *runs = make_runs(image->image->states(), first_lba, end_lba);
  });
}
