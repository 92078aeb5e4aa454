// SPDX-License-Identifier: GPL-3.0-or-later
#include "recover/unclaimed.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "disc/claims.h"
#include "media/signatures.h"

namespace lacuna::recover {
namespace {

NodeId add_folder(Tree& tree, View view) {
  Node folder;
  folder.kind = NodeKind::kDirectory;
  folder.view = view;
  folder.evidence = Evidence::kScan;
  folder.names[static_cast<std::size_t>(view)] = tree.add_text("_unclaimed");
  return tree.add_child(kRoot, folder);
}

}  // namespace

void add_unclaimed(DiscBuilder& builder) {
  Tree& tree = builder.tree();
  const Image& image = builder.image();
  const RangeSet all =
      without_structures(without_blank(image, unclaimed_sectors(image, tree, builder.structures())), builder.scan());
  if (all.empty()) return;
  const Signatures signatures;
  const View view = tree.node(kRoot).view;
  const NodeId folder = add_folder(tree, view);
  std::array<std::uint8_t, kSectorBytes> sector;
  std::array<SectorState, 1> state;
  for (const Range& r : all.ranges().first(std::min(kMostUnclaimed, all.ranges().size()))) {
    image.read(r.first, sector, state);
    Node n;
    n.view = view;
    n.evidence = Evidence::kScan;
    n.flags = node_flag::kNameMade;
    const std::uint64_t position = r.first * kSectorBytes;
    n.size = std::min(r.end * kSectorBytes, image.end_byte()) - position;
    n.names[static_cast<std::size_t>(view)] =
        tree.add_text(fmt::format("at-{}.{}", r.first, signatures.extension(sector)));
    const NodeId id = tree.add_child(folder, n);
    tree.add_extents(id, std::array{Extent{position, n.size}});
    const std::string type = signatures.type(sector);
    tree.add_doubt(id, type.empty() ? "nothing tells what these sectors are"
                                    : fmt::format("nothing tells what these sectors are; they begin like {}", type));
  }
  if (all.ranges().size() > kMostUnclaimed) {
    builder.findings().add({Severity::kNote, "unclaimed-many", "unclaimed data", all.ranges()[kMostUnclaimed].first, "",
                            fmt::format("{} stretches are claimed by nothing; the first {} are listed",
                                        all.ranges().size(), kMostUnclaimed)});
  }
}

}  // namespace lacuna::recover
