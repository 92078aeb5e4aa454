// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/drive_stage.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <optional>
#include <system_error>
#include <utility>
#include <vector>

#include "lacuna/disc.h"
#include "lacuna/plan.h"
#include "lacuna/verdict.h"
#include "media/drive.h"

namespace lacuna {
namespace {

class DriveSource final : public SectorSource {
 public:
  DriveSource(const OpenDrive& drive, std::optional<Error>& trouble) : drive_(drive), trouble_(trouble) {}
  std::uint64_t end_lba() const noexcept override { return drive_.sectors; }
  const RangeSet& holes() const noexcept override {
    static const RangeSet none;
    return none;
  }
  void read(std::uint64_t lba, std::span<std::uint8_t> out, std::span<SectorState> states) const override {
    if (!trouble_) {
      const Result<Done> asked = drive_.ask(lba, out, states);
      if (asked) return;
      trouble_ = asked.error();
    }
    std::ranges::fill(states, SectorState::kBad);
  }

 private:
  const OpenDrive& drive_;
  std::optional<Error>& trouble_;
};

/// LBAs of the drive that are neither good nor repaired.
std::vector<Range> wanting(const Image& image, std::uint64_t sectors) {
  std::vector<Range> out;
  const SectorMap states = image.data_states();
  for (const SectorRun& run : states.slice(0, sectors)) {
    if (run.state > SectorState::kRepaired) out.push_back({run.first, run.end()});
  }
  return out;
}

/// Where volumes begin and end: LBA 16 and what follows, the anchors of UDF (ECMA-167 3/8.4.2.1: 256, the last, the
/// last but 256). Of a disc of which nothing is known yet they come first.
std::vector<Range> first_and_last(std::uint64_t sectors) {
  constexpr std::uint64_t kAtStart = 512, kAtEnd = 288;
  const std::uint64_t start = std::min(sectors, kAtStart);
  const std::uint64_t end = std::max(start, sectors - std::min(sectors, kAtEnd));
  return {{0, start}, {end, sectors}};
}

class Filling {
 public:
  Filling(const OpenDrive& drive, DriveRead& read, const DiscSoFar& so_far, const CombineOptions& options)
      : drive_(drive), read_(read), so_far_(so_far), options_(options) {}

  Result<DriveWork> run() {
    if (options_.drive.passes == 0) return work_;
    if (const Result<Done> asked = ask_for_structures(); !asked) return asked.error();
    Result<std::optional<Plan>> plan = make_the_plan();
    if (!plan) return plan.error();
    if (*plan) {
      if (const Result<Done> asked = ask(order_of(**plan, [](const PlanStep&) { return true; })); !asked)
        return asked.error();
    }
    if (options_.drive.wanted_only) return work_;
    const Result<std::unique_ptr<Image>> image = so_far_();
    if (!image) return image.error();
    if (const Result<Done> asked = ask(wanting(**image, drive_.sectors)); !asked) return asked.error();
    return work_;
  }

 private:
  /// Directories lead to directories: as long as something new comes.
  Result<Done> ask_for_structures() {
    constexpr unsigned kMostRounds = 32;
    for (unsigned round = 0; round < kMostRounds; ++round) {
      const std::uint64_t before = read_.good().total();
      Result<std::optional<Plan>> plan = make_the_plan();
      if (!plan) return plan.error();
      const std::vector<Range> order =
          *plan ? order_of(**plan, [](const PlanStep& s) { return s.is_structure(); }) : first_and_last(drive_.sectors);
      if (order.empty()) break;
      if (const Result<Done> asked = ask(order); !asked) return asked.error();
      if (read_.good().total() == before) break;
    }
    return Done{};
  }

  /// Nothing as long as no file system is found.
  Result<std::optional<Plan>> make_the_plan() {
    const Result<std::unique_ptr<Image>> image = so_far_();
    if (!image) return image.error();
    wanting_ = RangeSet::from_unsorted(wanting(**image, drive_.sectors));
    DiscOptions disc_options;
    disc_options.threads = options_.threads;
    disc_options.progress = options_.progress;
    const Result<std::unique_ptr<const Disc>> disc = open_disc(**image, disc_options);
    if (!disc && disc.error().code == ErrorCode::kNoFileSystem) return std::optional<Plan>();
    if (!disc) return disc.error();
    JudgeOptions judge_options;
    judge_options.look_inside = false;
    judge_options.threads = options_.threads;
    judge_options.progress = options_.progress;
    const Result<Verdicts> verdicts = judge(**disc, judge_options);
    if (!verdicts) return verdicts.error();
    Result<Plan> plan = make_plan(**disc, *verdicts, options_.drive.plan);
    if (!plan) return plan.error();
    unit_sectors_ = plan->block_sectors;
    return std::optional<Plan>(std::move(plan).value());
  }

  /// The sectors of the steps that `takes`.
  template <class Takes>
  std::vector<Range> order_of(const Plan& plan, Takes&& takes) const {
    std::vector<Range> order;
    for (const PlanStep& step : plan.steps) {
      if (!takes(step)) continue;
      // The plan counts whole ECC blocks; what other reads have of them is not asked for.
      for (const Range& r : plan.ranges_of(step)) {
        const std::span<const Range> parts = wanting_.ranges();
        for (std::size_t i = wanting_.first_ending_after(r.first); i < parts.size() && parts[i].first < r.end; ++i) {
          order.push_back({std::max(parts[i].first, r.first), std::min(parts[i].end, r.end)});
        }
      }
    }
    return order;
  }

  Result<Done> ask(const std::vector<Range>& order) {
    const DrivePasses passes{options_.drive.passes, unit_sectors_, options_.progress};
    const Result<DriveWork> work = read_from_drive({drive_.ask, drive_.late}, read_, order, passes);
    if (!work) return work.error();
    work_.requests += work->requests;
    work_.sectors += work->sectors;
    return Done{};
  }

  const OpenDrive& drive_;
  DriveRead& read_;
  const DiscSoFar& so_far_;
  const CombineOptions& options_;
  RangeSet wanting_;
  std::uint64_t unit_sectors_ = 16;
  DriveWork work_;
};

}  // namespace

Result<OpenDrive> open_drive(const std::filesystem::path& path, double limit_seconds,
                             const ProgressCallback& progress) {
  // A progress callback may cancel at any time; while the drive is silent it is shown where the work was.
  auto last = std::make_shared<Progress>(Progress{"waiting for the drive", 0, 0});
  const auto keep_waiting = [progress, last] { return !progress || progress(*last); };
  DriveOptions options;
  options.limit = std::chrono::milliseconds(static_cast<std::int64_t>(limit_seconds * 1000));
  options.regular_files = true;
  Result<std::unique_ptr<DriveReader>> opened = DriveReader::open(path, options, keep_waiting);
  if (!opened) return opened.error();
  const std::shared_ptr<DriveReader> reader = std::move(opened).value();
  OpenDrive drive;
  drive.sectors = reader->size_bytes() / kSectorBytes;
  drive.ask = [reader, keep_waiting, path](std::uint64_t lba, std::span<std::uint8_t> out,
                                           std::span<SectorState> states) -> Result<Done> {
    const Result<DriveAnswer> answer = reader->read(lba, out, keep_waiting);
    if (!answer) return answer.error();
    if (says_drive_is_gone(answer->error)) {
      return Error{ErrorCode::kNotReadable,
                   fmt::format("{}: at LBA {} the drive says: {}; see that the disc is in it, and run the same command "
                               "again: it goes on where it stopped",
                               path.string(), lba + answer->good, std::generic_category().message(answer->error))};
    }
    std::ranges::fill(states.first(answer->good), SectorState::kGood);
    std::ranges::fill(states.subspan(answer->good),
                      answer->end == DriveAnswer::End::kTimedOut ? SectorState::kUnread : SectorState::kBad);
    return Done{};
  };
  drive.late = [reader]() -> std::optional<LateSectors> {
    std::optional<LateAnswer> late = reader->late();
    if (!late) return std::nullopt;
    late->bytes.resize(late->answer.good * kSectorBytes);
    return LateSectors{late->lba, std::move(late->bytes)};
  };
  return drive;
}

Result<DriveWork> fill_from_drive(const OpenDrive& drive, DriveRead& read, const DiscSoFar& so_far,
                                  const CombineOptions& options) {
  return Filling(drive, read, so_far, options).run();
}

std::unique_ptr<Image> image_of(const OpenDrive& drive, const std::string& name, std::optional<Error>& trouble) {
  return Image::from_source(std::make_unique<DriveSource>(drive, trouble), {}, name);
}

}  // namespace lacuna
