// SPDX-License-Identifier: GPL-3.0-or-later
#include "lacuna/combine.h"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cerrno>
#include <iterator>
#include <mutex>
#include <utility>

#include "combine/accept_reads.h"
#include "combine/combined_files.h"
#include "combine/cue_text.h"
#include "combine/drive_read.h"
#include "combine/drive_stage.h"
#include "combine/merge.h"
#include "combine/same_disc.h"
#include "combine/sampling.h"
#include "combine/written_source.h"

namespace lacuna {
namespace {

Error usage(std::string message) { return {ErrorCode::kUsage, std::move(message)}; }
Error cancelled() { return {ErrorCode::kCancelled, "stopped while combining"}; }

class Combination {
 public:
  Combination(std::span<const DiscRead> reads, const CombineOptions& options) : reads_(reads), options_(options) {}

  Result<CombineReport> run() {
    if (const Result<Done> checked = check(); !checked) return checked.error();
    Result<CombinedFiles> target = CombinedFiles::open(options_.to);
    if (!target) return target.error();
    Result<AcceptedReads> accepted = accept_reads(reads_, options_.force, options_.progress);
    if (!accepted) return accepted.error();
    merge_.images = accepted->images;
    if (has_drive()) {
      if (const Result<Done> opened = open_the_drive(*target, *accepted); !opened) return opened.error();
    }
    settle_range();
    if (const Result<Done> merged =
            merge_into(*target, RangeSet::from_unsorted({{first_lba_, end_lba_}}), false, runs_);
        !merged) {
      return merged.error();
    }
    if (runs_.empty()) return usage("the reads have no sectors");
    distrust(runs_);
    if (has_drive()) {
      if (const Result<Done> filled = fill(*target); !filled) return filled.error();
    }
    sum_up(*accepted);
    if (const Result<Done> written =
            target->publish(map_of(runs_), cue_of_tracks(target->name()), report_, reads_, runs_);
        !written)
      return written.error();
    if (drive_read_) drive_read_->remove();
    return std::move(report_);
  }

 private:
  bool has_drive() const noexcept { return !reads_.empty() && reads_.back().image == nullptr; }

  Result<Done> check() {
    if (reads_.empty()) return usage("no read was given");
    if (reads_.size() > kMostReads)
      return usage(
          fmt::format("{} reads are more than the {} that can be combined in one go", reads_.size(), kMostReads));
    for (std::size_t i = 0; i + 1 < reads_.size(); ++i) {
      if (reads_[i].image == nullptr)
        return usage(fmt::format("{} is a drive, and must be the last read", reads_[i].name));
    }
    if (!options_.force) {
      if (const Result<Done> apart = check_apart(); !apart) return apart.error();
    }
    const bool all_raw =
        std::ranges::all_of(reads_, [](const DiscRead& r) { return r.image != nullptr && r.image->raw() != nullptr; });
    const bool any_raw =
        std::ranges::any_of(reads_, [](const DiscRead& r) { return r.image != nullptr && r.image->raw() != nullptr; });
    if (options_.form == ImageForm::kRaw && !any_raw)
      return usage("no read has whole sectors: --form raw can't be had");
    if (options_.form == ImageForm::kRaw && has_drive())
      return usage("a drive is read for user data only: with it, --form raw can't be had");
    merge_.raw = options_.form == ImageForm::kRaw || (options_.form == ImageForm::kAuto && all_raw);
    report_.raw = merge_.raw;
    return Done{};
  }

  /// One read under two names would confirm itself.
  Result<Done> check_apart() const {
    for (std::size_t i = 0; i < reads_.size(); ++i) {
      for (std::size_t k = 0; k < i; ++k) {
        std::vector<std::string> common;
        std::ranges::set_intersection(reads_[i].sources, reads_[k].sources, std::back_inserter(common));
        if (common.empty()) continue;
        return usage(fmt::format("{} and {} both go back to {}: leave one out, or it would count twice", reads_[k].name,
                                 reads_[i].name, common.front()));
      }
    }
    return Done{};
  }

  Result<Done> open_the_drive(const CombinedFiles& target, const AcceptedReads& accepted) {
    Result<OpenDrive> drive = open_drive(reads_.back().drive, options_.drive.limit_seconds, options_.progress);
    if (!drive) return drive.error();
    drive_ = std::move(drive).value();
    Result<DriveRead> saved = DriveRead::open(target.folder(), target.name(), drive_.sectors);
    if (!saved) return saved.error();
    drive_read_.emplace(std::move(saved).value());
    std::optional<Error> trouble;
    const std::unique_ptr<Image> image = image_of(drive_, reads_.back().name, trouble);
    const Result<Done> checked = check_saved(*image);
    if (trouble) return *trouble;
    if (!checked) return checked.error();
    if (accepted.images.empty()) return Done{};
    // Few sectors, since each costs a seek: those that the first read has.
    constexpr std::size_t kDriveProbes = 64;
    drive_agreement_ = compare_in_place(*accepted.images.front(), *image, kDriveProbes);
    if (trouble) return *trouble;
    if (!drive_agreement_.same_disc() && !options_.force) {
      return stranger(reads_.back().name, reads_.front().name, drive_agreement_);
    }
    return Done{};
  }

  /// What an earlier run saved has to be of the disc that is in the drive now, too.
  Result<Done> check_saved(const Image& drive) {
    if (!drive_read_->resumed()) return Done{};
    constexpr std::size_t kSavedProbes = 16;
    const Result<std::unique_ptr<Image>> saved = drive_read_->image();
    if (!saved) return saved.error();
    const Agreement agreement = compare_in_place(**saved, drive, kSavedProbes);
    if (agreement.equal * 100 >= agreement.compared * 90 || options_.force) return Done{};
    return usage(
        fmt::format("{}.drive-read is of another disc than the one in the drive: of {} sectors {} are equal; "
                    "move it away with its map, or give another name to write to",
                    options_.to.string(), agreement.compared, agreement.equal));
  }

  void settle_range() {
    first_lba_ = has_drive() ? 0 : ~std::uint64_t{0};
    end_lba_ = has_drive() ? drive_.sectors : 0;
    for (const Image* image : merge_.images) {
      first_lba_ = std::min(first_lba_, image->first_lba());
      end_lba_ = std::max(end_lba_, image->end_lba());
    }
    first_lba_ = std::min(first_lba_, end_lba_);
  }

  /// `over`: something stands there already, so that zeros must be written too.
  Result<Done> merge_into(CombinedFiles& target, const RangeSet& lbas, bool over, SettledRuns& runs) {
    std::mutex mutex;
    const std::uint32_t unit = merge_.sector_bytes();
    const SectorSink sink = [&](std::uint64_t lba, Bytes bytes) {
      const std::lock_guard lock(mutex);
      const std::uint64_t at = (lba - first_lba_) * unit;
      return over ? target.image().write_at(at, bytes) : target.image().write_sparse_at(at, bytes);
    };
    const MergeTrouble trouble = merge(merge_, lbas, sink, options_.threads, options_.progress, runs);
    if (trouble.write_error != 0) return cannot_write(target.path(), trouble.write_error);
    if (trouble.cancelled) return cancelled();
    return Done{};
  }

  /// What the drive has joins in as one more read, wherever it has something.
  Result<Done> take_in_drive(CombinedFiles& target) {
    Result<std::unique_ptr<Image>> image = drive_read_->image();
    if (!image) return image.error();
    drive_image_ = std::move(image).value();
    merge_.images.resize(reads_.size() - 1);
    merge_.images.push_back(drive_image_.get());
    std::vector<Range> asked(drive_read_->good().ranges().begin(), drive_read_->good().ranges().end());
    const SectorMap states = drive_image_->states();
    for (const SectorRun& run : states.runs()) {
      if (run.state == SectorState::kBad) asked.push_back({run.first, run.end()});
    }
    SettledRuns fresh;
    if (const Result<Done> merged = merge_into(target, RangeSet::from_unsorted(std::move(asked)), true, fresh);
        !merged) {
      return merged.error();
    }
    runs_ = replaced(runs_, fresh);
    distrust(runs_);
    return Done{};
  }

  Result<Done> fill(CombinedFiles& target) {
    const DiscSoFar so_far = [&]() -> Result<std::unique_ptr<Image>> {
      if (const Result<Done> taken = take_in_drive(target); !taken) return taken.error();
      if (const int error = target.image().set_size((end_lba_ - first_lba_) * kSectorBytes); error != 0) {
        return cannot_write(target.path(), error);
      }
      std::vector<SectorMap> maps;
      maps.push_back(map_of(runs_));
      Fd fd(::dup(target.image().fd()));
      if (!fd.valid()) return cannot_write(target.path(), errno);
      return Image::from_source(std::make_unique<WrittenSource>(std::move(fd), first_lba_, end_lba_), std::move(maps),
                                target.name());
    };
    const Result<DriveWork> work = fill_from_drive(drive_, *drive_read_, so_far, options_);
    if (!work) return work.error();
    report_.drive_requests = work->requests;
    report_.drive_sectors = work->sectors;
    return take_in_drive(target);
  }

  static SectorMap map_of(const SettledRuns& runs) {
    std::vector<SectorRun> states;
    Basis basis = Basis::kEdc;
    bool any = false;
    for (const SettledRun& run : runs) {
      states.push_back({run.first, run.count, run.state});
      if (run.state > SectorState::kRepaired) continue;
      basis = std::max(basis, run.basis);
      any = true;
    }
    SectorMap map = SectorMap::from_runs(std::move(states), SectorState::kAbsent);
    map.set_basis(any ? basis : Basis::kMap);
    return map;
  }

  /// By the first read whose tracks a layout names.
  std::string cue_of_tracks(const std::string& name) {
    for (const Image* image : merge_.images) {
      if (!merge_.raw || image->raw() == nullptr) continue;
      const RawSectors& raw = *image->raw();
      RangeSet mode_2;
      for (const SectorForm form : {SectorForm::kMode2, SectorForm::kForm1, SectorForm::kForm2})
        mode_2 = mode_2.united(raw.of_form(form));
      const std::string text = cue_text(raw.tracks(), name, first_lba_, mode_2);
      report_.has_cue = !text.empty();
      if (report_.has_cue) return text;
    }
    return {};
  }

  void sum_up(const AcceptedReads& accepted) {
    report_.first_lba = first_lba_;
    report_.sectors = end_lba_ - first_lba_;
    report_.basis = map_of(runs_).basis();
    for (std::size_t i = 0; i < reads_.size(); ++i) {
      ReadFacts facts;
      facts.name = reads_[i].name;
      facts.drive = reads_[i].image == nullptr;
      facts.raw = !facts.drive && reads_[i].image->raw() != nullptr;
      facts.agreement = facts.drive ? drive_agreement_ : accepted.agreements[i];
      const Image& image = facts.drive ? *drive_image_ : *accepted.images[i];
      facts.good = good_lbas(merge_.raw ? image.states() : image.data_states()).total();
      report_.reads.push_back(std::move(facts));
    }
    for (const SettledRun& run : runs_) {
      report_.states[static_cast<std::size_t>(run.state)] += run.count;
      report_.settled[static_cast<std::size_t>(run.how)] += run.count;
      if (run.how == Settled::kConflict && report_.conflicts.size() < CombineReport::kMostListed) {
        report_.conflicts.push_back({run.first, run.end()});
      }
      count_for_reads(run);
    }
    if (merge_.raw) count_left_out();
  }

  void count_left_out() {
    std::vector<Range> missing;
    for (const SettledRun& run : runs_) {
      if (!has_bytes(run.state)) missing.push_back({run.first, run.end()});
    }
    RangeSet in_plain;
    for (const Image* image : merge_.images) {
      if (image->raw() != nullptr) continue;
      in_plain = in_plain.united(good_lbas(image->states()));
    }
    report_.left_out = in_plain.intersected(RangeSet::from_unsorted(std::move(missing))).total();
  }

  void count_for_reads(const SettledRun& run) {
    if (run.reads != 0) report_.reads[static_cast<std::size_t>(std::countr_zero(run.reads))].gave += run.count;
    const bool alone = run.how == Settled::kAlone || run.how == Settled::kDistrusted;
    const ReadMask wrong = run.against | (run.how == Settled::kConflict ? run.reads : 0);
    for (std::size_t i = 0; i < report_.reads.size(); ++i) {
      const ReadMask bit = ReadMask{1} << i;
      if (alone && (run.reads & bit) != 0) report_.reads[i].alone += run.count;
      if ((wrong & bit) != 0) report_.reads[i].contradicted += run.count;
    }
  }

  std::span<const DiscRead> reads_;
  const CombineOptions& options_;
  MergeReads merge_;
  std::uint64_t first_lba_ = 0, end_lba_ = 0;
  SettledRuns runs_;
  OpenDrive drive_;
  std::optional<DriveRead> drive_read_;
  std::unique_ptr<Image> drive_image_;
  Agreement drive_agreement_;
  CombineReport report_;
};

}  // namespace

Result<CombineReport> combine_reads(std::span<const DiscRead> reads, const CombineOptions& options) {
  return Combination(reads, options).run();
}

}  // namespace lacuna
