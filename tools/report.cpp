// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/report.h"

#include <fmt/chrono.h>

#include <algorithm>
#include <ctime>
#include <filesystem>
#include <memory>
#include <optional>

#include "command.h"
#include "lacuna/hits.h"
#include "lacuna/page.h"
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

/// A new file, and the way into it.
struct Output {
  NewFile file;
  Sink sink = [this](std::string_view bytes) { file.write(bytes); };

  explicit Output(const std::string& path) : file(must(NewFile::open(path))) {}
  Output(const Output&) = delete;
  Output& operator=(const Output&) = delete;
};

struct ReportCommand {
  ImageArguments image;
  CommonArguments common;
  std::string to, picture, medium = "auto";
  std::uint64_t layer_break = 0;
  bool has_layer_break = false, thumbnails = false;

  int run() const {
    if (to.empty() && picture.empty()) {
      throw Failure{kUsageError, "say what to make: --to FILE.html or --picture FILE; see lacuna report --help"};
    }
    if (!picture.empty() && image.many.size() > 1) {
      throw Failure{kUsageError, "--picture draws one disc; give one image, or --to FILE.html for a page of several"};
    }
    ProgressLine line(common.shows_progress());
    return to.empty() ? draw(image.each().front(), line) : write_pages(line);
  }

 private:
  PictureOptions picture_options() const {
    PictureOptions options;
    if (const auto found = medium_from(medium)) options.medium = *found;
    options.type = disc_type_from(medium);
    if (has_layer_break) options.layer_break = layer_break;
    return options;
  }

  PageOptions page_options(ProgressLine& line) const {
    PageOptions options;
    options.box = image.many.size() > 1;
    options.when = fmt::format("{:%Y-%m-%d %H:%M}", fmt::localtime(std::time(nullptr)));
    options.picture = picture_options();
    options.thumbnails = thumbnails;
    options.progress = line.callback();
    return options;
  }

  /// The page, and the picture too where it is asked for.
  int write_pages(ProgressLine& line) const {
    const PictureFormat format = picture.empty() ? PictureFormat::kSvg : picture_format(picture);
    Output page_file(to);
    std::optional<Output> picture_file;
    if (!picture.empty()) picture_file.emplace(picture);
    Page page(page_options(line), page_file.sink);
    const int status = for_each_image(image, [&](const ImageArguments& one) {
      try {
        const OpenedDisc opened = one.open(common, line);
        const Hits hits = find_hits(*opened.disc, opened.verdicts);
        must(page.add({*opened.disc, opened.verdicts, hits, opened.context, one.maps}));
        if (page_file.file.failed()) must(page_file.file.publish());
        if (picture_file) {
          write_picture(*opened.image, opened.disc.get(), picture_options(), format, picture_file->sink);
        }
        return opened.all_whole() ? kAllWhole : kLosses;
      } catch (const Failure& f) {
        page.add_unreadable(one.image, f.message);
        throw;
      }
    });
    page.finish();
    line.erase();
    if (picture_file) must(picture_file->file.publish());
    must(page_file.file.publish());
    return status;
  }

  /// The picture alone, which is about sectors.
  int draw(const ImageArguments& one, ProgressLine& line) const {
    const PictureFormat format = picture_format(picture);
    NewFile file = must(NewFile::open(picture));
    const std::unique_ptr<Image> opened = one.open_image(common, line);
    for (const Finding& f : opened->findings().list()) {
      if (f.severity != Severity::kNote) common.note(f.subject + ": " + f.text);
    }
    const std::unique_ptr<const Disc> disc = read(one, *opened, line);
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
  std::unique_ptr<const Disc> read(const ImageArguments& one, const Image& opened, ProgressLine& line) const {
    DiscOptions options = one.disc_options();
    options.threads = static_cast<unsigned>(common.threads);
    options.progress = line.callback();
    Result<std::unique_ptr<const Disc>> disc = open_disc(opened, options);
    if (!disc && disc.error().code == ErrorCode::kNoFileSystem) {
      common.note(one.image + ": no file system found; the picture shows what is known of the sectors");
      return nullptr;
    }
    std::unique_ptr<const Disc> found = must(std::move(disc));
    JudgeOptions judge_options;
    judge_options.look_inside = !one.no_look_inside;
    judge_options.threads = options.threads;
    judge_options.progress = line.callback();
    must(judge(*found, judge_options));
    return found;
  }
};

}  // namespace

void add_report(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("report", "A page about a disc or a box of discs, or a picture of a disc");
  const auto args = std::make_shared<ReportCommand>();
  args->image.add_many_to(*sub);
  sub->add_option("--to", args->to,
                  "Write a page to FILE.html that shows all of it, and needs nothing else, no\n"
                  "network either; it must not be there yet")
      ->option_text("FILE.html");
  sub->add_flag("--thumbnails", args->thumbnails,
                "On the page also small pictures of whole JPEG and PNG files; reads their contents")
      ->needs("--to");
  sub->add_option("--picture", args->picture,
                  "Draw the disc to FILE, an SVG or a PNG by the end of its name; it must not be there yet")
      ->option_text("FILE");
  sub->add_option("--medium", args->medium,
                  "What the disc is; default: a guess, which page and picture tell. auto, cd, dvd,\n"
                  "bd, or exactly: cd-74 cd-80 cd-8cm dvd-sl dvd-dl dvd-dl-parallel dvd-8cm\n"
                  "dvd-8cm-dl dvd-ram dvd-ram-2.6 bd-sl bd-dl bd-tl bd-ql bd-8cm bd-8cm-dl")
      ->check(CLI::IsMember(medium_words()))
      ->option_text("MEDIUM");
  add_number(*sub, "--layer-break", args->layer_break,
             "Where a DVD's second layer begins; default: at half of the sectors", kMaxSectors)
      ->option_text("LBA");
  args->common.add_to(*sub);
  sub->footer(
      "Examples:\n"
      "  lacuna report harbour-1998.iso --map harbour-1998.map --to harbour-1998.html\n"
      "  lacuna report --to box.html --thumbnails a.iso,map=a.map b.iso,map=b.map\n"
      "  lacuna report harbour-1998.iso --map harbour-1998.map --picture harbour-1998.svg\n"
      "  lacuna report harbour-1998.iso --map harbour-1998.map --picture harbour-1998.png --medium cd-80\n"
      "Exit status: with --to 0 every file is whole, 1 something is hurt or doubtful; else 0 every sector is good or\n"
      "repaired, 1 some are not; 3 an image could not be read; 4 something could not be written, or is already "
      "there.\n");
  sub->callback([&action, args, sub] {
    args->has_layer_break = sub->count("--layer-break") != 0;
    action = [args] { return args->run(); };
  });
}

}  // namespace lacuna::tool
