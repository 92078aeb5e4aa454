// SPDX-License-Identifier: GPL-3.0-or-later
// Where the readers of file systems come together: the one place that knows them all.
#include <fmt/format.h>

#include "disc/disc_builder.h"
#include "iso9660/other_systems.h"
#include "iso9660/reader.h"

namespace lacuna {
namespace {

Error nothing_found(const Image& image) {
  std::string seen;
  for (const std::string& system : iso9660::find_other_systems(image, 0)) seen += (seen.empty() ? "" : ", ") + system;
  std::string what_to_do =
      "if the image's beginning is missing, say at which LBA it starts (--starts-at); if the volume starts elsewhere, "
      "say where (--session-starts)";
  if (!seen.empty()) what_to_do = "seen instead: " + seen + ", which this version does not read; " + what_to_do;
  return {ErrorCode::kNoFileSystem, fmt::format("{}: no ISO 9660 file system found from LBA {} on; {}", image.name(),
                                                image.first_lba(), what_to_do)};
}

}  // namespace

Result<std::unique_ptr<const Disc>> open_disc(const Image& image, const DiscOptions& options) {
  DiscBuilder builder(image);
  builder.findings().add(image.findings());
  const auto iso = iso9660::read_iso9660(builder, options);
  if (!iso) return iso.error();
  if (!*iso) return nothing_found(image);
  return builder.finish();
}

}  // namespace lacuna
