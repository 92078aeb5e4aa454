// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/museum.h"

namespace lacuna::test {
namespace {

Node file_node(std::uint64_t size, const Timestamp& modified = {}) {
  Node n;
  n.size = size;
  n.modified = modified;
  return n;
}

}  // namespace

Museum::Museum(std::string image_name, bool with_map) {
  MemoryImage memory(numbered_sectors(100));
  if (with_map) {
    memory.mark(30, 2, SectorState::kBad)
        .mark(40, 1, SectorState::kUnread)
        .mark(45, 1, SectorState::kBad)
        .mark(50, 1, SectorState::kSuspect)
        .mark(99, 1, SectorState::kBad);
  }
  image_ = memory.open(std::move(image_name));
  hand_ = std::make_unique<HandDisc>(*image_);
  fill(hand_->builder());
  hand_->finish();
  Result<Verdicts> judged = judge(hand_->disc());
  EXPECT_TRUE(judged.ok());
  verdicts_ = std::make_unique<Verdicts>(std::move(judged).value());
  hits_ = find_hits(hand_->disc(), *verdicts_);
}

void Museum::fill(DiscBuilder& builder) {
  Session session;
  session.number = 2;
  session.start_lba = 16;
  session.in_tree = true;
  Volume volume;
  volume.view = View::kIso9660;
  volume.descriptor_lba = 16;
  volume.volume_id = "HARBOUR_1998";
  volume.application_id = "BURNING, \"ALL OF IT\"";
  volume.logical_block_bytes = 2048;
  volume.space_bytes = 120 * 2048;
  volume.created = date(1998, 7, 5, 10, 0, 120);
  session.volumes.push_back(volume);
  builder.sessions().push_back(session);
  Session earlier;
  earlier.number = 1;
  builder.sessions().insert(builder.sessions().begin(), earlier);

  builder.structures().push_back({StructureKind::kPathTable, View::kIso9660, 45 * 2048, 40, kNoNode, "path table L"});
  builder.also_present().emplace_back("UDF");
  builder.findings().add({Severity::kDoubt, "both-endian", "primary volume descriptor", 16, "ECMA-119 8.4.8",
                          "the two halves of the volume space size disagree; the little-endian one is used"});

  HandDisc& d = *hand_;
  const NodeId photos = d.directory("photos", 0);
  d.node("pier.jpg", file_node(6000, date(1998, 7, 4, 23, 59, 120)), {at_lba(20, 6000)}, photos);
  // Two extents; the second lies over 30 and 31, which are bad: its bytes 4096.. of the file.
  d.node("mast, \"fore\".jpg", file_node(10000, date(1998, 7, 5, 0, 1)), {at_lba(25, 4096), at_lba(30, 5904)}, photos);
  d.node("lost.jpg", file_node(2000), {at_lba(40, 2000)}, photos);
  d.node("doubt.jpg", file_node(2048), {at_lba(50, 2048)}, photos);
  d.node(
      "nowhere.jpg",
      [] {
        Node n = file_node(500);
        n.flags = node_flag::kUnlocated;
        return n;
      }(),
      {}, photos);
  const NodeId gone = d.directory("Sommer %E5r", node_flag::kIncomplete);  // An escaped name.
  // Interleaved, and not at the border of a sector.
  d.node("sea.dat", file_node(3000), {Extent{60 * 2048 + 512, 3000, 1024, 512}}, gone);
  // A right-to-left override and a C1 control, as hostile names have them.
  d.node("exe.\xe2\x80\xaegpj\xc2\x9b", file_node(0), {}, gone);
  Node joliet = file_node(10, date(2004, 2, 29, 12, 30));
  joliet.view = View::kJoliet;
  joliet.names[static_cast<std::size_t>(View::kIso9660)] = d.tree().add_text("LONGNA~1.TXT");
  joliet.flags = node_flag::kHidden;
  joliet.version = 2;
  d.node("Long name.txt", joliet, {at_lba(70, 10)});
  Node link = file_node(0);
  link.kind = NodeKind::kSymlink;
  const NodeId link_id = d.node("link", link);
  d.tree().edit_details(link_id).symlink_target = d.tree().add_text("photos/pier.jpg");
  d.tree().edit_details(link_id).mode = 0120777;

  LostDirectory lost;
  lost.node = gone;
  lost.position = 80 * 2048;
  lost.bytes = 2048;
  lost.missing_lbas.add({80, 81});
  lost.entries_elsewhere = 2;
  builder.lost_directories().push_back(lost);
}

}  // namespace lacuna::test
