// SPDX-License-Identifier: GPL-3.0-or-later
#include "donors.h"

#include <algorithm>
#include <filesystem>
#include <system_error>

#include "command.h"
#include "image_argument.h"

namespace lacuna::tool {
namespace {

/// What is asked of every disc is asked of a donor too.
DiscOptions donor_options(const ImageArguments& image, const CommonArguments& common, ProgressLine& line) {
  DiscOptions options;
  options.streams = image.streams;
  options.names_charset = image.names_charset;
  options.threads = static_cast<unsigned>(common.threads);
  options.progress = line.callback();
  return options;
}

/// Ends the command when it is to stop; else gives what there is to say.
std::string problem_of(const Error& error) {
  if (error.code == ErrorCode::kCancelled || error.code == ErrorCode::kCannotWrite) fail(error);
  return error.message;
}

/// Gives why a donor can't be looked at; nothing when it was.
std::string look_at_donor(TwinSearch& search, const ImageArgument& donor, const ImageArguments& image,
                          const CommonArguments& common, ProgressLine& line) {
  std::unique_ptr<Image> opened;
  try {
    opened = donor.open(common, line);
  } catch (const Failure& f) {
    if (f.status != kUnreadable) throw;
    return f.message;
  }
  const auto disc = open_disc(*opened, donor_options(image, common, line));
  if (!disc) return problem_of(disc.error());
  if (const auto looked = search.look_at(**disc, donor.path); !looked) fail(looked.error());
  return {};
}

}  // namespace

std::unique_ptr<const Twins> look_at_donors(const OpenedDisc& opened, const ImageArguments& image,
                                            const std::vector<std::string>& donors, const GlobSet& only,
                                            const CommonArguments& common, ProgressLine& line) {
  std::vector<ImageArgument> arguments;
  for (const std::string& text : donors) arguments.push_back(ImageArgument::parse(text));
  TwinOptions options;
  options.only = only;
  options.threads = static_cast<unsigned>(common.threads);
  options.progress = line.callback();
  const std::unique_ptr<TwinSearch> search = must(TwinSearch::start(*opened.disc, opened.verdicts, options));
  for (const ImageArgument& donor : arguments) {
    std::error_code error;
    // The image itself is always looked at, with what is known of its sectors.
    if (std::filesystem::equivalent(donor.path, image.image, error) && !error) continue;
    const std::string problem = look_at_donor(*search, donor, image, common, line);
    if (problem.empty()) continue;
    line.erase();
    say(problem);
    search->note_failure(donor.path, problem);
  }
  line.erase();
  return search->finish();
}

bool all_looked_at(const Twins& twins) {
  return std::all_of(twins.donors().begin(), twins.donors().end(),
                     [](const TwinDonor& d) { return d.problem.empty() && !d.incomplete; });
}

}  // namespace lacuna::tool
