// SPDX-License-Identifier: GPL-3.0-or-later
// Where the readers of file systems come together: the one place that knows them all.
#include <fmt/format.h>

#include "disc/audio_tracks.h"
#include "disc/claims.h"
#include "disc/disc_builder.h"
#include "iso9660/other_systems.h"
#include "iso9660/raw_files.h"
#include "iso9660/reader.h"
#include "recover/missing.h"
#include "recover/scan.h"
#include "recover/unclaimed.h"
#include "udf/reader.h"

namespace lacuna {
namespace {

Error nothing_found(const Image& image) {
  std::string seen;
  for (const std::string& system : iso9660::find_other_systems(image, 0)) seen += (seen.empty() ? "" : ", ") + system;
  std::string what_to_do =
      "if the image's beginning is missing, say at which LBA it starts (--starts-at); if the volume starts elsewhere, "
      "say where (--session-starts)";
  if (!seen.empty()) what_to_do = "seen instead: " + seen + "; " + what_to_do;
  return {ErrorCode::kNoFileSystem, fmt::format("{}: no ISO 9660 or UDF file system found from LBA {} on; {}",
                                                image.name(), image.first_lba(), what_to_do)};
}

/// Of the last session that the tree shows.
std::uint64_t start_of_tree(DiscBuilder& builder) {
  std::uint64_t start = 0;
  for (const Session& session : builder.sessions()) {
    if (session.in_tree) start = session.start_lba;
  }
  return start;
}

using DiscResult = Result<std::unique_ptr<const Disc>>;

/// One reading; `remains` are those of a scan, or null.
DiscResult read_disc(const Image& image, const DiscOptions& options, const recover::Remains* remains,
                     std::optional<ScanFacts> scan) {
  DiscBuilder builder(image);
  auto parts = iso9660::find_iso9660(builder, options, remains != nullptr ? &remains->iso9660 : nullptr);
  if (!parts) return parts.error();
  std::vector<std::uint64_t> starts = options.session_starts;
  for (const auto& part : *parts) starts.push_back(part->start_lba);
  auto udf_parts = udf::find_udf(builder, options, std::move(starts), remains != nullptr ? &remains->udf : nullptr);
  if (!udf_parts) return udf_parts.error();
  const bool has_udf = !udf_parts->empty();
  std::move(udf_parts->begin(), udf_parts->end(), std::back_inserter(*parts));
  const auto read = read_sessions(builder, options, std::move(*parts));
  if (!read) return read.error();
  // Of a view or session that was asked for, audio tracks are no part.
  const bool audio_alone = !*read && !options.view && !options.session;
  if (!*read && !audio_alone) return nothing_found(image);
  const std::size_t tracks = add_audio_tracks(builder);
  if (audio_alone) {
    if (tracks == 0) return nothing_found(image);
    builder.findings().add({Severity::kNote, "audio-only", image.name(), std::nullopt, "",
                            fmt::format("no file system was found; there are audio tracks: {}", tracks)});
  }
  for (std::string& system : iso9660::find_other_systems(image, start_of_tree(builder))) {
    if (!has_udf || !system.starts_with("UDF")) builder.also_present().push_back(std::move(system));
  }
  builder.scan() = std::move(scan);
  if (options.unclaimed) recover::add_unclaimed(builder);
  iso9660::settle_raw_files(builder);
  return builder.finish();
}

/// The reading that tells whether something is missing: that of the newest session in all its views.
DiscResult read_plainly(const Image& image, const DiscOptions& options) {
  DiscOptions plain;
  plain.session_starts = options.session_starts;
  plain.names_charset = options.names_charset;
  plain.progress = options.progress;
  return read_disc(image, plain, nullptr, {});
}

}  // namespace

Result<std::unique_ptr<const Disc>> open_disc(const Image& image, const DiscOptions& options) {
  DiscResult first = read_disc(image, options, nullptr, {});
  if (options.scan == ScanMode::kNever) return first;
  if (!first && first.error().code == ErrorCode::kCancelled) return first;
  std::optional<DiscResult> plain;
  if (options.view || options.session) plain = read_plainly(image, options);
  const DiscResult& known = plain ? *plain : first;
  ScanFacts facts;
  facts.reason = known ? recover::reason_to_scan(**known) : "no file system was found";
  if (facts.reason.empty()) {
    if (options.scan != ScanMode::kAlways) return first;
    facts.reason = "asked for";
  }
  recover::ScanRequest request;
  if (known) request.skip_lbas = sectors_of_files((*known)->tree(), true);
  request.skip_lbas = request.skip_lbas.united(audio_sectors(image));
  request.threads = options.threads;
  request.progress = options.progress;
  const auto remains = recover::scan(image, request);
  if (!remains) return remains.error();
  facts.looked_at_bytes = remains->looked_at_bytes;
  facts.structure_lbas = remains->iso9660.sectors().united(remains->udf.sectors());
  return read_disc(image, options, &*remains, std::move(facts));
}

}  // namespace lacuna
