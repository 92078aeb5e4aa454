// SPDX-License-Identifier: GPL-3.0-or-later
// From paths to a source: which files make up the image, and where in it each one lies. A part is never put where it
// may not belong: a place that can't be known is an error.
#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <utility>

#include "lacuna/image.h"
#include "media/file_store.h"
#include "media/part_names.h"
#include "media/piece_source.h"
#include "media/raw_source.h"
#include "media/recognise_raw.h"

namespace lacuna {
namespace {

Error not_readable(std::string message) { return {ErrorCode::kNotReadable, std::move(message)}; }

// The files of an image, in order.
struct Parts {
  std::vector<std::filesystem::path> paths;
  std::vector<std::uint64_t> numbers;  // one a path when all are numbered parts of one set, else empty
  bool listed = true;                  // the caller named each one; else they were found from the first
};

// How many numbers between the first and the last are not there.
std::uint64_t gap_count(const std::vector<std::uint64_t>& numbers) {
  return numbers.back() - numbers.front() + 1 - numbers.size();
}

// One path: the first of a numbered set (0 or 1, and others beside it), or a file by itself.
Parts find_parts(const std::filesystem::path& path, Findings& findings) {
  const std::optional<PartName> name = PartName::parse(path);
  if (!name) return {{path}, {}, true};
  std::vector<std::uint64_t> numbers = numbers_beside(*name);
  if (name->number > 1 || numbers.front() < name->number) {
    if (numbers.size() > 1) {
      findings.add({Severity::kDoubt,
                    "part-alone",
                    path.string(),
                    {},
                    {},
                    fmt::format("is named like part {} of a set, other parts of which lie beside it; it was opened by "
                                "itself. Give the first part to open all",
                                name->number)});
    }
    return {{path}, {}, true};
  }
  // A number far off is hardly a part of this set (disc.1 beside disc.2004).
  while (gap_count(numbers) > numbers.size()) {
    findings.add({Severity::kDoubt,
                  "part-far-off",
                  name->path_of(numbers.back()).string(),
                  {},
                  {},
                  fmt::format("was not taken for a part of this image, as too many numbers are missing before {}",
                              numbers.back())});
    numbers.pop_back();
  }
  if (numbers.size() == 1) return {{path}, {}, true};
  Parts parts{{}, std::move(numbers), false};
  for (const std::uint64_t n : parts.numbers) parts.paths.push_back(name->path_of(n));
  findings.add({Severity::kNote,
                "parts-joined",
                path.string(),
                {},
                {},
                fmt::format("{} numbered parts, up to '{}', are read as one image", parts.paths.size(),
                            parts.paths.back().filename().string())});
  return parts;
}

// Several paths: checked for order when their names are parts of one set.
Result<Parts> list_parts(const std::vector<std::filesystem::path>& paths) {
  Parts parts{paths, {}, true};
  const std::optional<PartName> first = PartName::parse(paths.front());
  for (const std::filesystem::path& path : paths) {
    const std::optional<PartName> name = PartName::parse(path);
    if (!first || !name || !first->same_set(*name)) return Parts{paths, {}, true};
    parts.numbers.push_back(name->number);
  }
  for (std::size_t i = 1; i < paths.size(); ++i) {
    if (parts.numbers[i] <= parts.numbers[i - 1]) {
      return Error{ErrorCode::kUsage,
                   fmt::format("parts are out of order: '{}' comes after '{}'; give them in the order "
                               "of their numbers, or only the first",
                               paths[i].string(), paths[i - 1].string())};
    }
  }
  if (gap_count(parts.numbers) > parts.numbers.size()) {
    return Error{ErrorCode::kUsage,
                 fmt::format("of the parts '{}' to '{}' more are missing than given; give all there are",
                             paths.front().string(), paths.back().string())};
  }
  return parts;
}

Result<std::vector<Piece>> open_all(const std::vector<std::filesystem::path>& paths) {
  std::vector<Piece> pieces;
  std::uint64_t at = 0;
  for (const std::filesystem::path& path : paths) {
    auto store = FileStore::open(path);
    if (!store) return store.error();
    const std::uint64_t size = (*store)->size_bytes();
    if (size > kMaxImageBytes - at) {
      return not_readable(fmt::format("'{}' makes the image larger than the {} sectors that a disc can have",
                                      path.string(), kMaxSectors));
    }
    pieces.push_back({at, std::move(store).value()});
    at += size;
  }
  return pieces;
}

// The part, if any, that is not of the size which all but the last have, or (the last) is larger.
std::optional<std::size_t> odd_part(const std::vector<Piece>& pieces) {
  const std::uint64_t size = pieces.front().store->size_bytes();
  for (std::size_t i = 1; i < pieces.size(); ++i) {
    const std::uint64_t own = pieces[i].store->size_bytes();
    if (i + 1 < pieces.size() ? own != size : own > size) return i;
  }
  return std::nullopt;
}

// Moves numbered parts to their places, and says what is missing between them.
Result<Done> place(std::vector<Piece>& pieces, const Parts& parts, std::uint64_t starts_at, Findings& findings) {
  const std::uint64_t size = pieces.front().store->size_bytes();
  const bool gaps = gap_count(parts.numbers) > 0;
  if (const std::optional<std::size_t> odd = odd_part(pieces)) {
    const std::string what =
        fmt::format("'{}' has {} bytes and '{}' has {}, where all parts but the last should have the same size",
                    parts.paths[*odd].string(), pieces[*odd].store->size_bytes(), parts.paths.front().string(), size);
    if (gaps) {
      return not_readable(what +
                          "; as parts are missing too, the place of the others can't be known: get the missing "
                          "parts, or give only those before the gap");
    }
    if (!parts.listed) {
      return not_readable(what + "; copy the smaller one again, or if the image was cut like this, list every part");
    }
    findings.add({Severity::kDoubt,
                  "parts-unequal",
                  parts.paths[*odd].string(),
                  {},
                  {},
                  what + "; if one was not copied whole, all that follows it is out of place"});
    return Done{};
  }
  const std::uint64_t first_number = parts.numbers.front();
  if (first_number > 1) {
    findings.add({Severity::kDoubt,
                  "part-missing",
                  parts.paths.front().string(),
                  starts_at,
                  {},
                  fmt::format("the parts before this one are missing; its first byte is taken for LBA {} (--starts-at)",
                              starts_at)});
  }
  const PartName name = *PartName::parse(parts.paths.front());
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    const std::uint64_t slot = parts.numbers[i] - first_number;
    if (slot > (kMaxImageBytes - pieces[i].store->size_bytes()) / size) {
      return not_readable(
          fmt::format("'{}' lies beyond the {} sectors that a disc can have", parts.paths[i].string(), kMaxSectors));
    }
    pieces[i].first_byte = slot * size;
    for (std::uint64_t n = i == 0 ? first_number : parts.numbers[i - 1] + 1; n < parts.numbers[i]; ++n) {
      const std::uint64_t lba = starts_at + (n - first_number) * size / kSectorBytes;
      findings.add({Severity::kLoss,
                    "part-missing",
                    name.path_of(n).string(),
                    lba,
                    {},
                    fmt::format("is missing: its {} bytes are absent at their place", size)});
    }
  }
  return Done{};
}

}  // namespace

Result<std::unique_ptr<SectorSource>> open_source(const std::vector<std::filesystem::path>& paths,
                                                  const SourceOptions& options, Findings& findings) {
  if (paths.empty()) return Error{ErrorCode::kUsage, "no image was given"};
  const std::string name = paths.front().string();
  const RawOptions raw{options.threads, options.progress, options.bad_bytes};
  if (const LayoutKind kind = paths.size() == 1 ? layout_kind(paths.front()) : LayoutKind::kNone;
      kind != LayoutKind::kNone) {
    Result<TrackLayout> layout = kind == LayoutKind::kCueSheet ? read_cue_sheet(paths.front(), findings)
                                                               : read_container(paths.front(), findings);
    if (!layout) return layout.error();
    return make_raw_source(std::move(layout).value(), name, raw, findings);
  }
  Result<Parts> parts = paths.size() == 1 ? Result<Parts>(find_parts(paths.front(), findings)) : list_parts(paths);
  if (!parts) return parts.error();
  Result<std::vector<Piece>> pieces = open_all(parts->paths);
  if (!pieces) return pieces.error();
  if (!parts->numbers.empty()) {
    if (const Result<Done> placed = place(*pieces, *parts, options.starts_at, findings); !placed) {
      return placed.error();
    }
  }
  if (std::optional<TrackLayout> layout = recognise_raw(*pieces, options.starts_at)) {
    return make_raw_source(std::move(*layout), name, raw, findings);
  }
  return make_piece_source(std::move(pieces).value(), options.starts_at, name);
}

}  // namespace lacuna
