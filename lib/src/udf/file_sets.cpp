// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/file_sets.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>
#include <tuple>
#include <utility>

#include "udf/leftovers.h"

namespace lacuna::udf {
namespace {

constexpr std::uint32_t kMaxBlocks = 256;  // of one extent
constexpr std::size_t kMaxExtents = 4096;  // of one sequence

class FileSetReader {
 public:
  FileSetReader(ByteReader& reader, const Partitions& partitions, Findings& findings,
                std::vector<Structure>& structures)
      : reader_(reader), partitions_(partitions), findings_(findings), structures_(structures) {}

  FileSets run(const LongAd& first) {
    std::set<std::uint64_t> seen;
    LongAd extent = first;
    while (!extent.none() && seen.size() < kMaxExtents &&
           seen.insert(std::uint64_t{extent.location.partition} << 32 | extent.location.block).second) {
      const LongAd at = extent;
      extent = LongAd{};
      const std::uint32_t blocks =
          std::clamp<std::uint32_t>(at.length_bytes / partitions_.block_bytes(), 1, kMaxBlocks);
      for (std::uint32_t i = 0; i < blocks; ++i) {
        if (!read_block({at.location.block + i, at.location.partition}, extent)) break;
      }
    }
    // Ranks as UDF has them; the later of equals is the newer.
    std::stable_sort(out_.found.begin(), out_.found.end(), [](const FoundFileSet& a, const FoundFileSet& b) {
      const auto rank = [](const FoundFileSet& f) {
        return std::pair{f.descriptor.number, f.descriptor.descriptor_number};
      };
      return rank(a) < rank(b);
    });
    return std::move(out_);
  }

 private:
  /// Gives false where the sequence ends.
  bool read_block(LbAddr address, LongAd& next) {
    std::string why = "where it lies is not known";
    std::optional<std::uint64_t> failed;
    bool blank = false, other = false;
    for (int copy = 0; copy < partitions_.copies(address.partition); ++copy) {
      const auto position = partitions_.position_of(address, copy);
      if (!position) continue;
      SectorState state;
      const Bytes view = reader_.view(*position, partitions_.block_bytes(), state);
      const TagCheck check = check_tag(view, address.block, 512);
      if (has_bytes(state) && check.tag.identifier == tag_id::kTerminating &&
          (check.problems & tag_problem::kChecksum) == 0) {
        return false;
      }
      if (has_bytes(state) && (check.problems & tag_problem::kBlank) != 0) {
        blank = true;
        continue;
      }
      structures_.push_back(
          {StructureKind::kFileSet, View::kUdf, *position, partitions_.block_bytes(), kNoNode, "file set descriptor"});
      if (has_bytes(state) && check.consistent() && decode_file_set(view)) {
        FoundFileSet found;
        found.block.assign(view.begin(), view.end());
        found.descriptor = *decode_file_set(found.block);
        found.position = *position;
        if (!found.descriptor.next.none()) next = found.descriptor.next;
        out_.found.push_back(std::move(found));
        out_.newest_lost = false;
        return true;
      }
      other = true;
      failed = position;
      why = !has_bytes(state)    ? fmt::format("its sector is {}", to_string(state))
            : check.consistent() ? fmt::format("it is none ({})", tag_name(check.tag.identifier))
                                 : describe(check);
    }
    const bool zeros = blank && !other;
    // Not recorded: the end. Or left out of the image, which only a map tells apart.
    if (zeros && reader_.image().has_map()) return false;
    out_.newest_lost = true;
    if (zeros && std::exchange(zeros_told_, true)) return true;
    if (zeros) why = "zeros stand there";
    findings_.add({zeros && !out_.found.empty() ? Severity::kDoubt : Severity::kLoss, "file-set", "file set descriptor",
                   failed ? std::optional(*failed / kSectorBytes) : std::nullopt, "ECMA-167 4/14.1",
                   fmt::format("the descriptor at block {} does not count: {}", address.block, why)});
    return true;
  }

  ByteReader& reader_;
  const Partitions& partitions_;
  Findings& findings_;
  std::vector<Structure>& structures_;
  FileSets out_;
  bool zeros_told_ = false;
};

}  // namespace

FileSets read_file_sets(ByteReader& reader, const Partitions& partitions, const LongAd& first, Findings& findings,
                        std::vector<Structure>& structures) {
  return FileSetReader(reader, partitions, findings, structures).run(first);
}

void add_scanned_file_sets(ByteReader& reader, const Partitions& partitions, const Remains& remains, FileSets& sets,
                           Findings& findings) {
  const auto is_known = [&](const FoundFileSet& f) {
    return std::any_of(sets.found.begin(), sets.found.end(), [&](const FoundFileSet& k) {
      return k.position == f.position || std::ranges::equal(k.block, f.block);  // the metadata mirror's is a copy
    });
  };
  const bool lost = sets.found.empty() || sets.newest_lost;
  std::vector<FoundFileSet> scanned;
  for (const DescriptorRemnant& d : remains.descriptors()) {
    if (d.identifier != tag_id::kFileSet || !partitions.address_of(d.position, d.location)) continue;
    SectorState state;
    const Bytes view = reader.view(d.position, partitions.block_bytes(), state);
    if (!has_bytes(state) || !decode_file_set(view)) continue;
    FoundFileSet found;
    found.block.assign(view.begin(), view.end());
    found.descriptor = *decode_file_set(found.block);
    found.position = d.position;
    found.scanned = true;
    if (is_known(found)) continue;
    if (std::any_of(scanned.begin(), scanned.end(), [&](const auto& s) { return s.block == found.block; })) continue;
    scanned.push_back(std::move(found));
  }
  if (scanned.empty()) return;
  std::stable_sort(scanned.begin(), scanned.end(), [](const FoundFileSet& a, const FoundFileSet& b) {
    const auto rank = [](const FoundFileSet& f) {
      return std::tuple{f.descriptor.number, f.descriptor.descriptor_number, f.descriptor.recorded.seconds};
    };
    return rank(a) < rank(b);
  });
  findings.add({lost ? Severity::kDoubt : Severity::kNote, "file-set-scanned", "file set descriptor",
                scanned.back().position / kSectorBytes, "ECMA-167 4/14.1",
                lost ? "found by scanning; what leads to it is lost"
                     : "found by scanning; nothing leads to it, so that it is one of an earlier use of the disc"});
  const auto at = lost ? sets.found.end() : sets.found.begin();
  sets.found.insert(at, std::make_move_iterator(scanned.begin()), std::make_move_iterator(scanned.end()));
}

LongAd find_root(const Partitions& partitions, const Remains& remains, const std::vector<LbAddr>& known) {
  struct Candidate {
    LbAddr address;
    std::uint64_t votes = 0;
    bool first_id = false;  // unique id 0
  };
  std::map<std::uint64_t, Candidate> candidates;
  for (const EntryRemnant& e : remains.entries()) {
    if (!e.is_directory || e.unique_id != 0) continue;
    if (const auto address = partitions.address_of(e.position, e.location)) {
      candidates[key_of(*address)] = {*address, 0, true};
    }
  }
  std::set<std::uint64_t> named;
  for (const LbAddr& root : known) named.insert(key_of(root));
  for (const IdentifierRemnant& f : remains.identifiers()) {
    if (f.icb_bytes == 0 || f.is_deleted() || !partitions.address_of(f.position, f.location)) continue;
    if (!f.is_parent()) {
      named.insert(key_of(f.icb));
      continue;
    }
    Candidate& c = candidates[key_of(f.icb)];
    c.address = f.icb;
    ++c.votes;
  }
  const Candidate* best = nullptr;
  for (const auto& [key, c] : candidates) {
    // A stream directory has the id 0 as well, and names its file as its parent (UDF 3.3.5): nobody names it so.
    if (named.contains(key) || c.votes == 0) continue;
    if (best == nullptr || std::pair{c.first_id, c.votes} > std::pair{best->first_id, best->votes}) best = &c;
  }
  LongAd root;
  if (best == nullptr) return root;
  root.location = best->address;
  root.length_bytes = partitions.block_bytes();
  return root;
}

}  // namespace lacuna::udf
