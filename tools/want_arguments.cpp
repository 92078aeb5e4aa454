// SPDX-License-Identifier: GPL-3.0-or-later
#include "want_arguments.h"

namespace lacuna::tool {

void WantArguments::add_to(CLI::App& app) {
  const std::string first = "What comes first";
  add_repeated(app, "--want", want.patterns, "Files that come before all others")->option_text("GLOB")->group(first);
  add_repeated(app, "--want-kind", want_kinds, "The same by kind: photos, video, audio, documents")
      ->delimiter(',')
      ->option_text("KIND,...")
      ->check(CLI::IsMember({"photos", "video", "audio", "documents"}))
      ->group(first);
  add_repeated(app, "--skip", skip.patterns, "Files and folders that are not worth a try")
      ->option_text("GLOB")
      ->group(first);
  app.add_option("--medium", medium,
                 "What the disc is; default: a guess, which is shown. A drive reads whole blocks:\n"
                 "of a CD 1 sector, of a DVD 16, of a Blu-ray disc 32")
      ->check(CLI::IsMember({"auto", "cd", "dvd", "bd"}))
      ->option_text("auto|cd|dvd|bd")
      ->group(first);
}

PlanOptions WantArguments::plan_options() const {
  PlanOptions options;
  options.want = want.globs();
  options.skip = skip.globs();
  for (const std::string& word : want_kinds) options.want_kinds.push_back(*file_kind_from(word));
  options.medium = *medium_from(medium);
  return options;
}

}  // namespace lacuna::tool
