// SPDX-License-Identifier: GPL-3.0-or-later
#include <fmt/format.h>

#include <filesystem>
#include <memory>

#include "command.h"
#include "mount_session.h"
#include "mounted_disc.h"
#include "options.h"

namespace lacuna::tool {
namespace {

/// A folder that is there and that nothing is in: what is in it could not be seen while a disc is mounted there.
void must_be_empty_folder(const std::string& folder) {
  std::error_code error;
  if (!std::filesystem::is_directory(folder, error)) {
    throw Failure{kUnwritable, folder + ": there is no such folder; make it first"};
  }
  if (!std::filesystem::is_empty(folder, error) || error) {
    throw Failure{kUnwritable, folder + ": " + (error ? error.message() : "is not empty; name an empty folder")};
  }
}

struct Mount {
  ImageArguments image;
  std::string folder;
  CommonArguments common;
  bool stay = false, all_users = false;

  int run() const {
    must_be_empty_folder(folder);
    ProgressLine line(common.shows_progress());
    const OpenedDisc opened = image.open(common, line);
    const MountedDisc mounted(*opened.disc, opened.verdicts);
    MountSession session(mounted, folder, {image.image, all_users});
    const auto& counts = opened.verdicts.counts();
    common.note(fmt::format("{} is in {}, read-only: {} files whole, {} doubtful, {} that can't be read to their end",
                            image.image, folder, grouped(counts[0].files), grouped(counts[1].files),
                            grouped(counts[2].files + counts[3].files + counts[4].files)));
    common.note(fmt::format("{}fusermount3 -u {}", stay ? "to end it: Ctrl-C, or " : "to end it: ", folder));
    if (!stay) session.to_background();
    session.serve();
    return kAllWhole;
  }
};

}  // namespace

void add_mount(CLI::App& app, Action& action) {
  CLI::App* sub = app.add_subcommand("mount", "Browse it read-only; a read over a hole fails exactly there");
  const auto args = std::make_shared<Mount>();
  args->image.add_to(*sub);
  sub->add_option("DIR", args->folder, "The empty folder to show the disc in")->required();
  sub->add_flag("--stay", args->stay, "Stay in the foreground until Ctrl-C");
  sub->add_flag("--all-users", args->all_users, "Also for other users of this machine (allow_other of FUSE)");
  args->common.add_to(*sub);
  sub->footer(
      "Examples:\n"
      "  mkdir disc && lacuna mount harbour-1998.iso --map harbour-1998.map disc\n"
      "  getfattr -d disc/photos/quay.jpg       (its state, its gaps, where it lies)\n"
      "  fusermount3 -u disc\n"
      "Whole files read as usual. A damaged one gives its bytes up to the first that is missing, and an input/output\n"
      "error exactly there; reading can go on behind the gap. Doubtful files read without an error: look at their\n"
      "attribute user.lacuna.doubts. Programs on the disc can't be run from DIR.\n"
      "Exit status: 0 mounted; 2 usage; 3 not readable, or no file system found; 4 could not be mounted.\n");
  sub->callback([&action, args] { action = [args] { return args->run(); }; });
}

}  // namespace lacuna::tool
