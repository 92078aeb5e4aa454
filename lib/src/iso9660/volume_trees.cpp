// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/volume_trees.h"

#include "base/text.h"

namespace lacuna::iso9660 {
namespace {

View view_of(const VolumeDescriptor& d) {
  if (is_enhanced(d)) return View::kEnhanced;
  return joliet_level(d) != 0 ? View::kJoliet : View::kIso9660;
}

Volume describe_volume(const VolumeDescriptor& d, std::uint64_t lba, std::int64_t shift_bytes) {
  Volume v;
  v.view = view_of(d);
  v.descriptor_lba = lba;
  const auto text = v.view == View::kJoliet ? field_text_ucs2 : field_text;
  v.system_id = text(d.system_id);
  v.volume_id = text(d.volume_id);
  v.volume_set_id = text(d.volume_set_id);
  v.publisher_id = text(d.publisher_id);
  v.preparer_id = text(d.data_preparer_id);
  v.application_id = text(d.application_id);
  v.copyright_file = text(d.copyright_file_id);
  v.abstract_file = text(d.abstract_file_id);
  v.bibliographic_file = text(d.bibliographic_file_id);
  v.logical_block_bytes = d.block_bytes();
  v.space_bytes = basis_of(d, shift_bytes).space_bytes;
  v.set_size = d.set_size.value();
  v.sequence_number = d.sequence_number.value();
  v.joliet_level = joliet_level(d);
  v.xa = d.xa_marker;
  v.created = d.created;
  v.modified = d.modified;
  v.expires = d.expires;
  v.effective = d.effective;
  return v;
}

std::string label_of(const FoundDescriptor& f) {
  switch (f.header.type) {
    case descriptor_type::kBootRecord:
      return "boot record";
    case descriptor_type::kPrimary:
      return "primary volume descriptor";
    case descriptor_type::kSupplementary:
      return f.header.version == 2 ? "enhanced volume descriptor" : "supplementary volume descriptor";
    case descriptor_type::kPartition:
      return "volume partition descriptor";
    default:
      return "volume descriptor set terminator";
  }
}

void check(const VolumeDescriptor& d, const FoundDescriptor& f, Findings& findings) {
  const auto finding = [&findings](Severity severity, const char* kind, std::uint64_t lba, const char* clause,
                                   std::string text) {
    findings.add({severity, kind, "volume descriptor", lba, clause, std::move(text)});
  };
  using namespace descriptor_problem;
  if ((d.problems & (kSpaceSizeHalves | kSetSizeHalves | kSequenceHalves | kPathTableSizeHalves | kBlockSizeHalves)) !=
      0) {
    finding(Severity::kDoubt, "both-endian", f.lba, "ECMA-119 8.4",
            "halves of a number in " + label_of(f) + " disagree");
  }
  if ((d.problems & kBlockSize) != 0) {
    finding(Severity::kDoubt, "block-size", f.lba, "ECMA-119 8.4.12",
            "the logical block size is none of 512, 1024, 2048; 2048 is taken");
  }
  if ((d.problems & kRootRecord) != 0) {
    finding(Severity::kDoubt, "root-record", f.lba, "ECMA-119 8.4.18",
            "the root directory record is not as it should be");
  }
  if ((d.problems & (kCreationDate | kModificationDate | kExpirationDate | kEffectiveDate)) != 0) {
    finding(Severity::kNote, "volume-date", f.lba, "ECMA-119 8.4.26.1", "a date of " + label_of(f) + " is not a date");
  }
}

}  // namespace

std::vector<Volume> describe_set(DiscBuilder& builder, const DescriptorSet& set, std::int64_t shift_bytes) {
  std::vector<Volume> volumes;
  Findings& findings = builder.findings();
  for (const FoundDescriptor& f : set.descriptors) {
    builder.structures().push_back(
        {StructureKind::kVolumeDescriptor, View::kIso9660, f.lba * kSectorBytes, kSectorBytes, kNoNode, label_of(f)});
    if (f.state == SectorState::kSuspect) {
      findings.add({Severity::kDoubt, "descriptor-suspect", "volume descriptor", f.lba, "ECMA-119 8",
                    "a volume descriptor in a suspect sector"});
    }
    if (const auto d = decode_volume_descriptor(f.sector)) {
      volumes.push_back(describe_volume(*d, f.lba, shift_bytes));
      check(*d, f, findings);
    }
  }
  return volumes;
}

VolumeTrees choose_trees(const DescriptorSet& set, std::int64_t shift_bytes, Findings& findings) {
  VolumeTrees trees;
  bool primary_is_wrong = false, joliet_is_wrong = false, enhanced_is_wrong = false;
  const auto choose = [&](std::optional<VolumeBasis>& chosen, bool& is_wrong, const VolumeDescriptor& d,
                          std::uint64_t lba) {
    VolumeBasis volume = basis_of(d, shift_bytes);
    const bool wrong = (d.problems & descriptor_problem::kRootRecord) != 0;
    if (!chosen || is_wrong) {
      chosen = std::move(volume);
      is_wrong = wrong;
    } else if (root_position(*chosen) != root_position(volume) && !wrong) {
      findings.add({Severity::kDoubt, "descriptors-differ", "volume descriptor", lba, "ECMA-119 6.7.1.1",
                    "a second descriptor of the same kind names another root directory; the first is used"});
    }
  };
  for (const FoundDescriptor& f : set.descriptors) {
    const auto d = decode_volume_descriptor(f.sector);
    if (!d) continue;
    if (d->type == descriptor_type::kPrimary) {
      choose(trees.primary, primary_is_wrong, *d, f.lba);
    } else if (is_enhanced(*d)) {
      choose(trees.enhanced, enhanced_is_wrong, *d, f.lba);
    } else if (joliet_level(*d) != 0) {
      choose(trees.joliet, joliet_is_wrong, *d, f.lba);
    } else {
      findings.add(
          {Severity::kNote, "escape-sequences", "volume descriptor", f.lba, "ECMA-119 8.5.6",
           "a supplementary volume descriptor whose character set is not one of Joliet's; its tree is not read"});
    }
  }
  return trees;
}

}  // namespace lacuna::iso9660
