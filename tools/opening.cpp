// SPDX-License-Identifier: GPL-3.0-or-later
// From arguments to a disc that has been read and judged.
#include <fmt/format.h>

#include <algorithm>

#include "command.h"
#include "options.h"

namespace lacuna::tool {

std::unique_ptr<Image> ImageArguments::open_image(const CommonArguments& common, ProgressLine& line) const {
  std::vector<std::filesystem::path> paths{image};
  paths.insert(paths.end(), parts.begin(), parts.end());
  ImageOptions options;
  options.maps.assign(maps.begin(), maps.end());
  options.map_columns.columns = map_columns;
  options.map_columns.unit = map_unit == "bytes" ? MapColumns::Unit::kBytes
                             : map_unit == "512" ? MapColumns::Unit::k512
                                                 : MapColumns::Unit::kSectors;
  options.map_columns.good_words = map_good;
  options.map_columns.bad_words = map_bad;
  options.starts_at = starts_at;
  options.threads = static_cast<unsigned>(common.threads);
  options.progress = line.callback();
  return must(Image::open(paths, options));
}

OpenedDisc ImageArguments::open(const CommonArguments& common, ProgressLine& line) const {
  OpenedDisc opened;
  opened.image = open_image(common, line);
  for (const Finding& f : opened.image->findings().list()) {
    if (f.severity != Severity::kNote) common.note(f.subject + ": " + f.text);
  }
  DiscOptions disc_options = this->disc_options();
  disc_options.threads = static_cast<unsigned>(common.threads);
  disc_options.progress = line.callback();
  opened.disc = must(open_disc(*opened.image, disc_options));
  JudgeOptions judge_options;
  judge_options.look_inside = !no_look_inside;
  judge_options.threads = static_cast<unsigned>(common.threads);
  judge_options.progress = line.callback();
  opened.verdicts = must(judge(*opened.disc, judge_options));
  line.erase();
  opened.context.image_arguments = quoted();
  opened.context.looked_inside = !no_look_inside;
  if (const std::uint64_t hurt = opened.verdicts.hurt_directories(); hurt != 0) {
    common.note(
        fmt::format("{}: {} director{} could not be read in full, there may be files that nothing names; "
                    "lacuna survey shows where",
                    image, grouped(hurt), hurt == 1 ? "y" : "ies"));
  }
  return opened;
}

bool OpenedDisc::all_whole() const {
  const auto& counts = verdicts.counts();
  return !may_hide_files() &&
         std::all_of(counts.begin() + 1, counts.end(), [](const StateCount& c) { return c.files == 0; }) &&
         std::ranges::none_of(disc->findings().list(),
                              [](const Finding& f) { return f.severity == Severity::kLoss; });
}

}  // namespace lacuna::tool
