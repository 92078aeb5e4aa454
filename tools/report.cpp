// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/report.h"

#include <algorithm>
#include <filesystem>
#include <memory>

#include "command.h"
#include "lacuna/picture.h"
#include "options.h"

namespace lacuna::tool {
namespace {

/// Every word that --medium takes: the media, and the types of discs.
std::vector<std::string> medium_words() {
  std::vector<std::string> words{"auto", "cd", "dvd", "bd"};
  for (int i = 0; i < kDiscTypeCount; ++i) words.emplace_back(to_string(static_cast<DiscType>(i)));
  return words;
}

PictureFormat picture_format(const std::string& file) {
  const std::string extension = std::filesystem::path(file).extension().string();
  if (extension == ".svg" || extension == ".SVG") return PictureFormat::kSvg;
  if (extension == ".png" || extension == ".PNG") return PictureFormat::kPng;
  throw Failure{kUsageError, "--picture " + file + ": its name must end in .svg or .png"};
}

struct ReportCommand {
  ImageArguments image;
  CommonArguments common;
  std::string picture, medium = "auto";
  std::uint64_t layer_break = 0;
  bool has_layer_break = false;

  int run() const {
    if (picture.empty()) throw Failure{kUsageError, "say what to make: --picture FILE; see lacuna report --help"};
    ProgressLine line(common.shows_progress());
    return draw(line);
  }

 private:
  PictureOptions picture_options() const {
    PictureOptions options;
    if (const auto found = medium_from(medium)) options.medium = *found;
    options.type = disc_type_from(medium);
    if (has_layer_break) options.layer_break = layer_break;
    return options;
  }

  int draw(ProgressLine& line) const {
    const PictureFormat format = picture_format(picture);
    NewFile file = must(NewFile::open(picture));
    const std::unique_ptr<Image> opened = image.open_image(common, line);
    for (const Finding& f : opened->findings().list()) {
      if (f.severity != Severity::kNote) common.note(f.subject + ": " + f.text);
    }
    const std::unique_ptr<const Disc> disc = read(*opened, line);
    line.erase();
    write_picture(*opened, disc.get(), picture_options(), format,
                  [&file](std::string_view bytes) { file.write(bytes); });
    must(file.publish());
    const std::vector<SectorRun> runs = opened->states().slice(0, opened->end_lba());
    const bool all_good =
        std::ranges::all_of(runs, [](const SectorRun& r) { return r.state <= SectorState::kRepaired; });
    return all_good ? kAllWhole : kLosses;
  }

  /// Reads and judges the disc, which teaches the image what speaks against its sectors. A disc without a file system
  /// has a picture too.
  std::unique_ptr<const Disc> read(const Image& opened, ProgressLine& line) const {
    DiscOptions options = image.disc_options();
    options.threads = static_cast<unsigned>(common.threads);
    options.progress = line.callback();
    Result<std::unique_ptr<const Disc>> disc = open_disc(opened, options);
    if (!disc && disc.error().code == ErrorCode::kNoFileSystem) {
      common.note(image.image + ": no file system found; the picture shows what is known of the sectors");
      return nullptr;
    }
    std::unique_ptr<const Disc> found = must(std::move(disc));
    JudgeOptions judge_options;
    judge_options.look_inside = !image.no_look_inside;
    judge_options.threads = options.threads;
    judge_options.progress = line.callback();
    must(judge(*found, judge_options));
    return found;
  }
};

}  // namespace

void add_report(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("report", "A picture of the disc, with all that is unreadable in its place");
  const auto args = std::make_shared<ReportCommand>();
  args->image.add_to(*sub);
  sub->add_option("--picture", args->picture,
                  "Draw the disc to FILE, an SVG or a PNG by the end of its name; it must not be there yet")
      ->option_text("FILE");
  sub->add_option("--medium", args->medium,
                  "What the disc is; default: a guess, which the picture tells. auto, cd, dvd, bd, or\n"
                  "exactly: cd-74 cd-80 cd-8cm dvd-sl dvd-dl dvd-dl-parallel dvd-8cm dvd-8cm-dl\n"
                  "dvd-ram dvd-ram-2.6 bd-sl bd-dl bd-tl bd-ql bd-8cm bd-8cm-dl")
      ->check(CLI::IsMember(medium_words()))
      ->option_text("MEDIUM");
  add_number(*sub, "--layer-break", args->layer_break,
             "Where a DVD's second layer begins; default: at half of the sectors", kMaxSectors)
      ->option_text("LBA");
  args->common.add_to(*sub);
  sub->footer(
      "Examples:\n"
      "  lacuna report harbour-1998.iso --map harbour-1998.map --picture harbour-1998.svg\n"
      "  lacuna report harbour-1998.iso --map harbour-1998.map --picture harbour-1998.png --medium cd-80\n"
      "Exit status: 0 every sector is good or repaired; 1 some are not.\n");
  sub->callback([&action, args, sub] {
    args->has_layer_break = sub->count("--layer-break") != 0;
    action = [args] { return args->run(); };
  });
}

}  // namespace lacuna::tool
