// SPDX-License-Identifier: GPL-3.0-or-later
#include "iso9660/reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "iso9660/earlier_volumes.h"
#include "iso9660/iso_part.h"
#include "iso9660/lost_views.h"

namespace lacuna::iso9660 {
namespace {

// Earlier states of UDF volumes count from 0; parts of one number would be taken for one state.
constexpr std::uint64_t kFirstEarlierState = std::uint64_t{1} << 32;

/// Reads a disc with the help of what a scan found.
class Recovery {
 public:
  Recovery(DiscBuilder& builder, const DiscOptions& options, const Remains& remains)
      : builder_(builder),
        options_(options),
        scan_(std::make_shared<ScanResult>(remains, builder.image())),
        frame_(choose_frame()) {}

  Result<SessionParts> run() {
    note_frames();
    SetSearch search{options_.session_starts, false, options_.progress, &scan_->frames, frame_};
    search.everywhere = options_.all_sessions || options_.session.has_value();
    auto sets = find_descriptor_sets(image(), search, builder_.findings());
    if (!sets) return sets.error();
    std::vector<VolumeTrees> trees;
    for (const DescriptorSet& set : *sets) trees.push_back(choose_trees(set, shift(), builder_.findings()));
    std::vector<LostSession> lost;
    if (options_.session_starts.empty()) {
      lost = find_lost_views(image(), scan_->frames, frame_, *sets, trees, builder_.findings());
    }
    for (std::size_t i = 0; i < sets->size(); ++i) add((*sets)[i], trees[i]);
    for (LostSession& session : lost) {
      add({session.start_lba, SessionSource::kScan, {}, true}, std::move(session.trees));
    }
    bound_sessions();
    const auto added = add_earlier();
    if (!added) return added.error();
    return SessionParts(std::make_move_iterator(parts_.begin()), std::make_move_iterator(parts_.end()));
  }

 private:
  const Image& image() const { return builder_.image(); }
  std::int64_t shift() const { return frame_ == nullptr ? 0 : frame_->shift_bytes; }

  bool is_readable(std::uint64_t lba) const {
    std::array<std::uint8_t, kSectorBytes> sector;
    std::array<SectorState, 1> state;
    image().read(lba, sector, state);
    return has_bytes(state[0]);
  }

  /// The disc's own. An image of one session alone begins with descriptors whose root stands before where it says.
  const Frame* choose_frame() const {
    const Frames& frames = scan_->frames;
    if (const Frame* zero = frames.of_shift(0)) return zero;
    Findings none;
    const auto sets = find_descriptor_sets(image(), {{0}, false, {}, nullptr, nullptr}, none);
    if (sets && !sets->empty()) {
      const VolumeTrees trees = choose_trees(sets->front(), 0, none);
      const Frame* earliest = frames.own(false);
      if (!trees.primary || !trees.primary->root || earliest == nullptr) return nullptr;
      VolumeBasis moved = *trees.primary;
      moved.shift_bytes = earliest->shift_bytes;
      const FrameDirectory* root = earliest->find(root_position(moved));
      return root != nullptr && root->is_root() ? earliest : nullptr;
    }
    return frames.own(is_readable(image().first_lba() + kSystemAreaSectors));
  }

  void note_frames() {
    Findings& findings = builder_.findings();
    if (scan_->frames.remains().truncated()) {
      findings.add(
          {Severity::kLoss, "remains-truncated", "scan", std::nullopt, "",
           fmt::format("more than {} structures of one kind were found; the rest is not used", Remains::kMost)});
    }
    for (const Range& r : scan_->frames.stored_images(shift())) {
      findings.add({Severity::kNote, "stored-image", "scan", r.first / kSectorBytes, "ECMA-119 9.1.3",
                    fmt::format("directories up to LBA {} count their addresses from here: an ISO 9660 image stored as "
                                "a file; not part of this disc's tree",
                                r.end / kSectorBytes)});
    }
    if (shift() == 0) return;
    const bool early = frame_->shift_bytes < 0;
    const std::uint64_t sectors =
        static_cast<std::uint64_t>(early ? -frame_->shift_bytes : frame_->shift_bytes) / kSectorBytes;
    findings.add({Severity::kDoubt, "shifted", "scan", image().first_lba(), "ECMA-119 9.1.3",
                  early ? fmt::format("{} directories stand {} sectors before where they say, {} of them confirmed by "
                                      "others: the image starts late (--starts-at {} says so)",
                                      frame_->directories.size(), sectors, frame_->links, image().first_lba() + sectors)
                        : fmt::format("{} directories stand {} sectors behind where they say, {} of them confirmed by "
                                      "others: something was put before the disc's first sector",
                                      frame_->directories.size(), sectors, frame_->links)});
  }

  void add(DescriptorSet set, VolumeTrees trees) {
    IsoPartFacts facts;
    facts.set = std::move(set);
    facts.trees = std::move(trees);
    facts.shift_bytes = shift();
    facts.scan = scan_;
    add_boot_catalogs(facts);
    parts_.push_back(std::make_unique<IsoPart>(builder_, options_, std::move(facts)));
  }

  /// When the boot record of the first session may be lost, the catalogs found.
  void add_boot_catalogs(IsoPartFacts& facts) const {
    const auto is_boot = [](const FoundDescriptor& f) { return f.header.type == descriptor_type::kBootRecord; };
    if (!parts_.empty() || !facts.set.incomplete || std::ranges::any_of(facts.set.descriptors, is_boot)) return;
    const std::vector<Range> stored = scan_->frames.stored_images(shift());
    for (const std::uint64_t at : scan_->frames.remains().boot_catalogs()) {
      const auto inside = [at](const Range& r) { return r.first <= at && at < r.end; };
      if (std::ranges::none_of(stored, inside)) facts.boot_catalogs.push_back(at);
    }
  }

  /// A session's directories lie behind its start and before the next one's.
  void bound_sessions() {
    std::sort(parts_.begin(), parts_.end(), [](const auto& a, const auto& b) { return a->start_lba < b->start_lba; });
    for (std::size_t i = 0; i < parts_.size(); ++i) {
      const bool last = i + 1 == parts_.size();
      parts_[i]->set_orphans({i == 0 ? 0 : parts_[i]->start_lba * kSectorBytes,
                              last ? ~std::uint64_t{0} : parts_[i + 1]->start_lba * kSectorBytes});
    }
  }

  /// What none of the sessions has is known only when all have been read.
  Result<Done> add_earlier() {
    if (frame_ == nullptr || parts_.empty()) return Done{};
    std::vector<Range> files;
    for (std::size_t i = 0; i < parts_.size(); ++i) {
      auto extents = parts_[i]->survey(i + 1 == parts_.size());
      if (!extents) return extents.error();
      scan_->current.insert(extents->directories.begin(), extents->directories.end());
      files.insert(files.end(), extents->files.begin(), extents->files.end());
    }
    const auto volumes =
        find_earlier_volumes(image(), *frame_, scan_->current, RangeSet::from_unsorted(std::move(files)));
    for (std::size_t i = 0; i < volumes.size(); ++i) {
      IsoPartFacts facts;
      facts.set = {parts_.front()->start_lba, SessionSource::kScan, {}, true};
      facts.trees = volumes[i];
      facts.shift_bytes = shift();
      facts.scan = scan_;
      facts.earlier = true;
      parts_.push_back(std::make_unique<IsoPart>(builder_, options_, std::move(facts)));
      parts_.back()->state = kFirstEarlierState + i;
    }
    if (!volumes.empty()) {
      builder_.findings().add({Severity::kNote, "earlier-volume", "scan", std::nullopt, "ECMA-119 6.8.2",
                               "directories were found that the disc's sessions don't have: what is left of an earlier "
                               "use of the disc, listed as sessions of their own (--session N, --session all)"});
    }
    return Done{};
  }

  DiscBuilder& builder_;
  const DiscOptions& options_;
  std::shared_ptr<ScanResult> scan_;
  const Frame* frame_;  // the disc's own; may be none
  std::vector<std::unique_ptr<IsoPart>> parts_;
};

}  // namespace

Result<SessionParts> find_iso9660(DiscBuilder& builder, const DiscOptions& options, const Remains* remains) {
  if (remains != nullptr) return Recovery(builder, options, *remains).run();
  const bool everywhere = options.all_sessions || options.session.has_value();
  SetSearch search;
  search.given_starts = options.session_starts;
  search.everywhere = everywhere;
  search.progress = options.progress;
  auto sets = find_descriptor_sets(builder.image(), search, builder.findings());
  if (!sets) return sets.error();
  SessionParts parts;
  for (DescriptorSet& set : *sets) {
    IsoPartFacts facts;
    facts.trees = choose_trees(set, 0, builder.findings());
    facts.set = std::move(set);
    parts.push_back(std::make_unique<IsoPart>(builder, options, std::move(facts)));
  }
  return parts;
}

}  // namespace lacuna::iso9660
