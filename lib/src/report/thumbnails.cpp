// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/thumbnails.h"

#include <algorithm>
#include <array>

#include "base/bytes.h"
#include "lacuna/content.h"
#include "report/base64.h"
#include "report/json.h"

namespace lacuna::report {
namespace {

enum class Coding { kNone, kJpeg, kPng };

/// By the signatures: ITU-T T.81 B.1.1.3 (SOI and another marker), PNG (ISO/IEC 15948) 5.2.
Coding coding_of(std::span<const std::uint8_t> head) {
  constexpr std::array<std::uint8_t, 3> kJpeg{0xff, 0xd8, 0xff};
  constexpr std::array<std::uint8_t, 8> kPng{0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n'};
  const auto begins = [head](std::span<const std::uint8_t> with) {
    return head.size() >= with.size() && std::ranges::equal(head.first(with.size()), with);
  };
  return begins(kJpeg) ? Coding::kJpeg : begins(kPng) ? Coding::kPng : Coding::kNone;
}

/// The whole of a file; nothing when reading shows that it is not whole.
bool read_whole(FileReader& reader, std::vector<std::uint8_t>& bytes) {
  bytes.resize(static_cast<std::size_t>(reader.size()));
  std::vector<Gap> gaps;
  return reader.read(0, bytes, gaps) == bytes.size() && gaps.empty();
}

}  // namespace

Pixels shrunk(const Pixels& from) {
  const std::uint32_t longer = std::max(from.width, from.height);
  if (longer <= kThumbnailEdge) return from;
  const auto scaled = [longer](std::uint32_t n) {
    return std::max<std::uint32_t>(1, static_cast<std::uint32_t>(std::uint64_t{n} * kThumbnailEdge / longer));
  };
  Pixels to{scaled(from.width), scaled(from.height), {}};
  to.rgb.resize(std::size_t{to.width} * to.height * 3);
  const auto border = [](std::uint32_t i, std::uint32_t small, std::uint32_t large) {
    return static_cast<std::size_t>(std::uint64_t{i} * large / small);
  };
  for (std::uint32_t y = 0; y < to.height; ++y) {
    const std::size_t y0 = border(y, to.height, from.height), y1 = border(y + 1, to.height, from.height);
    for (std::uint32_t x = 0; x < to.width; ++x) {
      const std::size_t x0 = border(x, to.width, from.width), x1 = border(x + 1, to.width, from.width);
      std::array<std::uint64_t, 3> sum{};
      for (std::size_t v = y0; v < y1; ++v) {
        for (std::size_t u = x0; u < x1; ++u) {
          for (std::size_t c = 0; c < 3; ++c) sum[c] += from.rgb[(v * from.width + u) * 3 + c];
        }
      }
      for (std::size_t c = 0; c < 3; ++c) {
        to.rgb[(std::size_t{y} * to.width + x) * 3 + c] = static_cast<std::uint8_t>(sum[c] / ((y1 - y0) * (x1 - x0)));
      }
    }
  }
  return to;
}

Result<Thumbnails> make_thumbnails(const Disc& disc, const Verdicts& verdicts, const ProgressCallback& progress) {
  Thumbnails made;
  const Tree& tree = disc.tree();
  std::size_t bytes_made = 0;
  std::uint64_t done = 0;
  const std::uint64_t all = verdicts.counts()[static_cast<std::size_t>(FileState::kWhole)].bytes;
  std::vector<std::uint8_t> file;
  for (const NodeId id : tree.in_order()) {
    const Node& n = tree.node(id);
    if (n.kind != NodeKind::kFile || verdicts.of(id).state != FileState::kWhole || n.has(node_flag::kRawSectors))
      continue;
    done += n.size;
    if (progress && !progress({"making thumbnails", done, all})) return Error{ErrorCode::kCancelled, "cancelled"};
    FileReader reader(disc, id);
    std::array<std::uint8_t, 8> head{};
    std::vector<Gap> gaps;
    const std::size_t got = reader.read(0, head, gaps);
    const Coding coding = gaps.empty() ? coding_of(std::span(head).first(got)) : Coding::kNone;
    if (coding == Coding::kNone) continue;
    ++made.pictures;
    if (made.all.size() >= kMostThumbnails || bytes_made >= kMostThumbnailBytes) {
      ++made.left;
      continue;
    }
    if (reader.size() > kLargestPicture) {
      ++made.large;
      continue;
    }
    if (!read_whole(reader, file)) continue;
    const std::optional<Pixels> pixels = coding == Coding::kJpeg ? decode_jpeg(file) : decode_png(file);
    if (!pixels) {
      ++made.broken;
      continue;
    }
    const Pixels small = shrunk(*pixels);
    Thumbnails::One one{id, small.width, small.height, encode_jpeg(small)};
    if (one.jpeg.empty()) continue;
    bytes_made += one.jpeg.size();
    made.all.push_back(std::move(one));
  }
  return made;
}

void put_thumbnails(const Thumbnails& thumbnails, Out& out) {
  Json json(out);
  json.open_object();
  json.put("pictures", thumbnails.pictures);
  json.put("broken", thumbnails.broken);
  json.put("large", thumbnails.large);
  json.put("left", thumbnails.left);
  json.open_object("all");
  for (const Thumbnails::One& one : thumbnails.all) {
    json.open_array(fmt::to_string(one.node));
    json.value(one.width);
    json.value(one.height);
    json.value(std::string_view("data:image/jpeg;base64," + base64(as_bytes(one.jpeg))));
    json.close_array();
    out.hand_on();
  }
  json.close_object();
  json.close_object();
}

}  // namespace lacuna::report
