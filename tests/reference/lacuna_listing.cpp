// SPDX-License-Identifier: GPL-3.0-or-later
#include "reference/lacuna_listing.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <sstream>

#include "lacuna/content.h"
#include "lacuna/verdict.h"

namespace lacuna::test {
namespace {

std::string content_hash(const Disc& disc, NodeId id) {
  FileReader reader(disc, id);
  Sha256 sha;
  std::vector<std::uint8_t> buffer(1 << 16);
  std::vector<Gap> gaps;
  for (std::uint64_t at = 0; at < reader.size();) {
    const std::size_t n = reader.read(at, buffer, gaps);
    if (n == 0) return "ends early";
    sha.add(buffer.data(), n);
    at += n;
  }
  return gaps.empty() ? sha.hex() : "has gaps";
}

ReferenceEntry::Kind kind_of(const Node& node) {
  switch (node.kind) {
    case NodeKind::kDirectory:
      return ReferenceEntry::Kind::kDirectory;
    case NodeKind::kFile:
      return ReferenceEntry::Kind::kFile;
    case NodeKind::kSymlink:
      return ReferenceEntry::Kind::kSymlink;
    default:
      return ReferenceEntry::Kind::kOther;
  }
}

}  // namespace

std::optional<IntactDisc> open_intact(const std::filesystem::path& file, std::optional<View> view, std::string& why) {
  // Through a source of our own, so that a map that says "all good" can be given.
  Findings findings;
  auto source = open_source({file}, {}, findings);
  if (!source.ok()) {
    why = source.error().message;
    return std::nullopt;
  }
  IntactDisc opened;
  // Listed as good, a hole of the file counts as zeros that were read.
  const SectorRun all{(*source)->first_lba(), (*source)->end_lba() - (*source)->first_lba(), SectorState::kGood};
  opened.image = Image::from_source(std::move(*source), {SectorMap::from_runs({all})});
  DiscOptions options;
  options.view = view;
  auto disc = open_disc(*opened.image, options);
  if (!disc.ok()) {
    why = disc.error().message;
    return std::nullopt;
  }
  opened.disc = std::move(*disc);
  return opened;
}

std::optional<ReferenceListing> list_with_lacuna(const std::filesystem::path& file, View view, std::string& why) {
  const auto opened = open_intact(file, view, why);
  if (!opened) return std::nullopt;
  return list_with_lacuna(*opened->disc);
}

ReferenceListing list_with_lacuna(const Disc& disc) {
  const auto verdicts = judge(disc);
  if (!verdicts.ok()) {
    ADD_FAILURE() << verdicts.error().message;
    return {};
  }
  ReferenceListing listing;
  for (const NodeId id : disc.tree().in_order()) {
    const Node& node = disc.tree().node(id);
    const std::string path = disc.tree().path(id);
    if (path == "_boot" || path.starts_with("_boot/")) continue;
    ReferenceEntry e;
    e.kind = kind_of(node);
    if (node.modified.known) e.modified = node.modified.seconds;
    if (e.kind == ReferenceEntry::Kind::kFile) {
      e.size = node.size;
      e.sha256 = content_hash(disc, id);
      EXPECT_EQ(verdicts->of(id).state, FileState::kWhole)
          << path << ": " << (verdicts->doubts(disc, id).empty() ? "" : verdicts->doubts(disc, id).front());
    }
    if (e.kind == ReferenceEntry::Kind::kSymlink) e.target = disc.tree().text(disc.tree().details(node).symlink_target);
    listing[path] = std::move(e);
  }
  return listing;
}

const char* to_string(Difference::What what) {
  switch (what) {
    case Difference::What::kOnlyOurs:
      return "only ours";
    case Difference::What::kOnlyTheirs:
      return "only theirs";
    case Difference::What::kKind:
      return "kind";
    case Difference::What::kSize:
      return "size";
    case Difference::What::kDate:
      return "date";
    case Difference::What::kContent:
      return "content";
    case Difference::What::kTarget:
      return "link target";
  }
  return "";
}

std::vector<Difference> differences(const ReferenceListing& ours, const ReferenceListing& theirs) {
  using What = Difference::What;
  std::vector<Difference> all;
  const auto add = [&all](What what, const std::string& path, const auto& a, const auto& b) {
    std::ostringstream text;
    text << "ours " << a << ", theirs " << b;
    all.push_back({what, path, text.str()});
  };
  for (const auto& [path, mine] : ours) {
    const auto it = theirs.find(path);
    if (it == theirs.end()) {
      all.push_back({What::kOnlyOurs, path, ""});
      continue;
    }
    const ReferenceEntry& other = it->second;
    if (mine.kind != other.kind) {
      add(What::kKind, path, static_cast<int>(mine.kind), static_cast<int>(other.kind));
      continue;
    }
    if (mine.size != other.size) add(What::kSize, path, mine.size, other.size);
    if (mine.modified != other.modified) {
      add(What::kDate, path, mine.modified.value_or(-1), other.modified.value_or(-1));
    }
    if (mine.sha256 != other.sha256) add(What::kContent, path, mine.sha256, other.sha256);
    if (mine.target != other.target) add(What::kTarget, path, mine.target, other.target);
  }
  for (const auto& [path, other] : theirs) {
    if (!ours.contains(path)) all.push_back({What::kOnlyTheirs, path, ""});
  }
  return all;
}

}  // namespace lacuna::test
