// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/c/disc.h"

#include "capi/callbacks.h"
#include "capi/handles.h"
#include "capi/structs.h"
#include "capi/text.h"

namespace lacuna::capi {
namespace {

constexpr std::uint32_t kDiscFlags = LACUNA_DISC_ALL_SESSIONS | LACUNA_DISC_DELETED | LACUNA_DISC_STREAMS |
                                     LACUNA_DISC_UNCLAIMED | LACUNA_DISC_NO_LOOK_INSIDE;

ScanMode scan_mode_from(std::uint32_t scan) {
  switch (scan) {
    case LACUNA_SCAN_AUTO:
      return ScanMode::kAuto;
    case LACUNA_SCAN_ALWAYS:
      return ScanMode::kAlways;
    case LACUNA_SCAN_NEVER:
      return ScanMode::kNever;
    default:
      fail_usage("lacuna_disc_options: unknown scan");
  }
}

DiscOptions disc_options_from(const lacuna_disc_options& given) {
  check_flags(given.flags, kDiscFlags, "lacuna_disc_options");
  need(given.view <= kViewCount, "lacuna_disc_options: unknown view");
  const auto has = [&](std::uint32_t flag) { return (given.flags & flag) != 0; };
  need(given.session == 0 || !has(LACUNA_DISC_ALL_SESSIONS), "lacuna_disc_options: one session, or all of them?");
  DiscOptions o;
  if (given.view != LACUNA_VIEW_ALL) o.view = static_cast<View>(given.view - 1);
  if (given.session != 0) o.session = given.session;
  o.all_sessions = has(LACUNA_DISC_ALL_SESSIONS);
  o.deleted = has(LACUNA_DISC_DELETED);
  o.streams = has(LACUNA_DISC_STREAMS);
  o.unclaimed = has(LACUNA_DISC_UNCLAIMED);
  const auto starts =
      array_from(given.session_starts, given.session_start_count, "lacuna_disc_options: session_starts");
  o.session_starts.assign(starts.begin(), starts.end());
  o.names_charset = text_from(given.names_charset, "lacuna_disc_options: names_charset");
  o.scan = scan_mode_from(given.scan);
  o.threads = given.threads;
  return o;
}

lacuna_disc* open_and_judge(const std::shared_ptr<const Image>& image, const lacuna_disc_options& given) {
  ProgressBridge progress(given.progress, given.progress_user);
  DiscOptions options = disc_options_from(given);
  options.progress = progress.callback();
  JudgeOptions judging;
  judging.look_inside = (given.flags & LACUNA_DISC_NO_LOOK_INSIDE) == 0;
  judging.threads = given.threads;
  judging.progress = progress.callback();
  std::unique_ptr<const Disc> disc = progress.must(open_disc(*image, options));
  Verdicts verdicts = progress.must(judge(*disc, judging));
  report::SessionOf session_of(*disc);
  auto handle = std::make_unique<lacuna_disc>();
  handle->open = std::make_shared<const OpenDisc>(OpenDisc{
      image, std::move(disc), std::move(verdicts), judging.look_inside || image->has_map(), std::move(session_of)});
  return handle.release();
}

struct VolumeAt {
  const Session* session;
  const Volume* volume;
};

/// Calls f(VolumeAt) for each volume, as long as it gives true.
template <class F>
void for_each_volume(const Disc& disc, F&& f) {
  for (const Session& s : disc.sessions()) {
    for (const Volume& v : s.volumes) {
      if (!f(VolumeAt{&s, &v})) return;
    }
  }
}

lacuna_disc_info disc_info_of(const OpenDisc& open) {
  lacuna_disc_info out{};
  for (std::size_t i = 0; i < kFileStateCount; ++i) {
    const StateCount& c = open.verdicts.counts()[i];
    out.states[i] = {c.files, c.bytes, c.missing_bytes};
  }
  out.hurt_directories = open.verdicts.hurt_directories();
  out.finding_count = open.disc->findings().list().size();
  out.scan_reason = open.disc->scan() ? to_c(open.disc->scan()->reason) : kNoText;
  out.main_volume = UINT32_MAX;
  for_each_volume(*open.disc, [&](const VolumeAt& at) {
    if (at.volume == open.disc->main_volume()) out.main_volume = out.volume_count;
    ++out.volume_count;
    return true;
  });
  out.session_count = static_cast<std::uint32_t>(open.disc->sessions().size());
  out.basis = static_cast<lacuna_basis>(open.verdicts.basis());
  out.looked_inside = open.looked_inside ? 1 : 0;
  out.also_present_count = static_cast<std::uint32_t>(open.disc->also_present().size());
  return out;
}

lacuna_volume volume_to_c(const VolumeAt& at) {
  const Volume& v = *at.volume;
  lacuna_volume out{};
  out.volume_id = to_c(v.volume_id);
  out.system_id = to_c(v.system_id);
  out.volume_set_id = to_c(v.volume_set_id);
  out.publisher_id = to_c(v.publisher_id);
  out.preparer_id = to_c(v.preparer_id);
  out.application_id = to_c(v.application_id);
  out.session_start_lba = at.session->start_lba;
  out.descriptor_lba = v.descriptor_lba;
  out.space_bytes = v.space_bytes;
  out.created = to_c(v.created);
  out.modified = to_c(v.modified);
  out.session = at.session->number;
  out.in_tree = at.session->in_tree ? 1 : 0;
  out.view = static_cast<lacuna_view>(v.view) + 1;
  out.logical_block_bytes = v.logical_block_bytes;
  return out;
}

}  // namespace
}  // namespace lacuna::capi

using namespace lacuna::capi;

lacuna_code lacuna_disc_open(const lacuna_image* image, const lacuna_disc_options* options, lacuna_disc** disc,
                             lacuna_error** error) {
  if (disc != nullptr) *disc = nullptr;
  return guarded(error, [&] {
    need(image != nullptr && disc != nullptr, "lacuna_disc_open: image or disc is NULL");
    *disc = open_and_judge(image->image, options_from(options, "lacuna_disc_options"));
  });
}

void lacuna_disc_free(lacuna_disc* disc) { delete disc; }

lacuna_code lacuna_disc_get_info(const lacuna_disc* disc, lacuna_disc_info* info, lacuna_error** error) {
  return guarded(error, [&] {
    need(disc != nullptr, "lacuna_disc_get_info: disc is NULL");
    give_struct(info, disc_info_of(*disc->open), "lacuna_disc_info");
  });
}

lacuna_code lacuna_disc_volume(const lacuna_disc* disc, std::size_t index, lacuna_volume* volume,
                               lacuna_error** error) {
  return guarded(error, [&] {
    need(disc != nullptr, "lacuna_disc_volume: disc is NULL");
    bool given = false;
    std::size_t number = 0;
    for_each_volume(*disc->open->disc, [&](const VolumeAt& at) {
      if (number++ != index) return true;
      give_struct(volume, volume_to_c(at), "lacuna_volume");
      given = true;
      return false;
    });
    need(given, "there is no volume of this number");
  });
}

lacuna_code lacuna_disc_finding(const lacuna_disc* disc, std::size_t index, lacuna_finding* finding,
                                lacuna_error** error) {
  return guarded(error, [&] {
    need(disc != nullptr, "lacuna_disc_finding: disc is NULL");
    give_finding(disc->open->disc->findings(), index, finding);
  });
}

lacuna_string lacuna_disc_also_present(const lacuna_disc* disc, std::size_t index) {
  if (disc == nullptr || index >= disc->open->disc->also_present().size()) return kNoText;
  return to_c(disc->open->disc->also_present()[index]);
}

lacuna_code lacuna_disc_runs(const lacuna_disc* disc, std::uint64_t first_lba, std::uint64_t end_lba,
                             lacuna_runs** runs, lacuna_error** error) {
  if (runs != nullptr) *runs = nullptr;
  return guarded(error, [&] {
    need(disc != nullptr && runs != nullptr, "lacuna_disc_runs: disc or runs is NULL");
    *runs = make_runs(disc->open->verdicts.states(), first_lba, end_lba);
  });
}
