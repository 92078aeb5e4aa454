// SPDX-License-Identifier: GPL-3.0-or-later
// What is known of one file.
#include "capi/file.h"

#include "capi/structs.h"
#include "capi/text.h"
#include "disc/raw_content.h"

namespace lacuna::capi {
namespace {

constexpr std::uint32_t kShownFlags =
    LACUNA_FILE_HIDDEN | LACUNA_FILE_ASSOCIATED | LACUNA_FILE_BOOT | LACUNA_FILE_SIZE_GUESSED | LACUNA_FILE_INCOMPLETE |
    LACUNA_FILE_DELETED | LACUNA_FILE_STREAM | LACUNA_FILE_SYSTEM | LACUNA_FILE_NAME_MADE | LACUNA_FILE_RAW_SECTORS;
static_assert(kShownFlags == (node_flag::kHidden | node_flag::kAssociated | node_flag::kBoot | node_flag::kSizeGuessed |
                              node_flag::kIncomplete | node_flag::kDeleted | node_flag::kStream | node_flag::kSystem |
                              node_flag::kNameMade | node_flag::kRawSectors));
static_assert(LACUNA_POSITION_ZEROS == kZeros && LACUNA_POSITION_NOWHERE == kNowhere);

std::uint32_t flags_of(const Node& n, const NodeDetails& d) {
  std::uint32_t flags = n.flags & kShownFlags;
  if (n.has(node_flag::kUnread)) flags |= LACUNA_FILE_INCOMPLETE;
  if (d.mode) flags |= LACUNA_FILE_HAS_MODE;
  return flags;
}

lacuna_file_info file_info_of(const lacuna_file& file) {
  const Tree& tree = file.open->disc->tree();
  const Node& n = file.of_tree();
  const Verdict& v = file.verdict();
  lacuna_file_info out{};
  out.size = n.size;
  out.missing_bytes = v.missing_bytes;
  out.suspect_bytes = v.suspect_bytes;
  out.modified = to_c(n.modified);
  out.symlink_target = kNoText;
  out.state = static_cast<lacuna_file_state>(v.state);
  out.basis = static_cast<lacuna_basis>(v.basis);
  out.evidence = static_cast<lacuna_evidence>(n.evidence);
  out.view = static_cast<lacuna_view>(n.view) + 1;
  out.kind = static_cast<lacuna_node_kind>(n.kind);
  out.session = file.open->session_of(file.path);
  out.version = n.version;
  if (n.details == 0) {
    out.flags = flags_of(n, {});
    return out;
  }
  const NodeDetails& d = tree.details(n);
  out.flags = flags_of(n, d);
  out.created = to_c(d.created);
  out.accessed = to_c(d.accessed);
  out.symlink_target = to_c(file.symlink_target);
  out.mode = d.mode.value_or(0);
  out.user = d.user;
  out.group = d.group;
  return out;
}

std::vector<lacuna_extent> c_extents_of(const lacuna_file& file) {
  const Node& n = file.of_tree();
  const bool raw = n.has(node_flag::kRawSectors);
  std::vector<lacuna_extent> list;
  std::uint64_t stored = 0;
  for (const Extent& e : file.open->disc->tree().extents(n)) {
    const auto counted = [&](std::uint64_t bytes) { return raw ? raw_bytes(bytes) : bytes; };
    lacuna_extent out{};
    out.offset = raw ? raw_begin(stored) : stored;
    out.position = e.position;
    out.bytes = counted(e.bytes);
    if (e.unit_bytes != 0 && e.gap_bytes != 0) {
      out.unit_bytes = static_cast<std::uint32_t>(counted(e.unit_bytes));
      out.gap_bytes = static_cast<std::uint32_t>(counted(e.gap_bytes));
    }
    out.raw_sectors = raw ? 1 : 0;
    list.push_back(out);
    stored += e.bytes;
  }
  return list;
}

std::vector<lacuna_byte_run> c_gaps_of(const lacuna_file& file) {
  std::vector<lacuna_byte_run> list;
  for (const Gap& g : file.open->verdicts.gaps(file.verdict())) {
    list.push_back({g.offset, g.length, static_cast<std::uint32_t>(g.state), 0});
  }
  return list;
}

/// Gives a list of the file, which `make` makes the first time.
template <class T, class Make>
void give_list(const lacuna_file& file, std::optional<std::vector<T>>& list, const T** first, std::size_t* count,
               Make&& make) {
  const std::lock_guard lock(file.mutex);
  if (!list) list = make(file);
  *first = list->empty() ? nullptr : list->data();
  *count = list->size();
}

}  // namespace

lacuna_file* make_file(std::shared_ptr<const OpenDisc> open, NodeId node, std::string path) {
  return std::make_unique<lacuna_file>(std::move(open), node, std::move(path)).release();
}

}  // namespace lacuna::capi

using namespace lacuna::capi;

void lacuna_file_free(lacuna_file* file) { delete file; }

lacuna_string lacuna_file_path(const lacuna_file* file) { return file == nullptr ? kNoText : to_c(file->path); }

lacuna_code lacuna_file_get_info(const lacuna_file* file, lacuna_file_info* info, lacuna_error** error) {
  return guarded(error, [&] {
    need(file != nullptr, "lacuna_file_get_info: file is NULL");
    give_struct(info, file_info_of(*file), "lacuna_file_info");
  });
}

lacuna_code lacuna_file_extents(const lacuna_file* file, const lacuna_extent** extents, std::size_t* count,
                                lacuna_error** error) {
  return guarded(error, [&] {
    need(file != nullptr && extents != nullptr && count != nullptr, "lacuna_file_extents: an argument is NULL");
    give_list(*file, file->extents, extents, count, c_extents_of);
  });
}

lacuna_code lacuna_file_gaps(const lacuna_file* file, const lacuna_byte_run** gaps, std::size_t* count,
                             lacuna_error** error) {
  return guarded(error, [&] {
    need(file != nullptr && gaps != nullptr && count != nullptr, "lacuna_file_gaps: an argument is NULL");
    give_list(*file, file->gaps, gaps, count, c_gaps_of);
  });
}

lacuna_code lacuna_file_doubts(const lacuna_file* file, const lacuna_string** doubts, std::size_t* count,
                               lacuna_error** error) {
  return guarded(error, [&] {
    need(file != nullptr && doubts != nullptr && count != nullptr, "lacuna_file_doubts: an argument is NULL");
    const std::lock_guard lock(file->mutex);
    if (!file->doubts) {
      std::vector<std::string> texts = file->open->verdicts.doubts(*file->open->disc, file->node);
      file->doubt_texts.reserve(texts.size());
      file->doubts = std::move(texts);
      for (const std::string& text : *file->doubts) file->doubt_texts.push_back(to_c(text));
    }
    *doubts = file->doubt_texts.empty() ? nullptr : file->doubt_texts.data();
    *count = file->doubt_texts.size();
  });
}
