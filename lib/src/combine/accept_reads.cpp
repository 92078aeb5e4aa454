// SPDX-License-Identifier: GPL-3.0-or-later
#include "combine/accept_reads.h"

#include <fmt/format.h>

#include <utility>

#include "combine/shift.h"
#include "lacuna/disc.h"

namespace lacuna {
namespace {

/// "'HARBOUR_1998'", or nothing.
std::string volume_name(const Image& image) {
  DiscOptions options;
  options.scan = ScanMode::kNever;
  const Result<std::unique_ptr<const Disc>> disc = open_disc(image, options);
  if (!disc || (*disc)->main_volume() == nullptr) return {};
  return (*disc)->main_volume()->volume_id;
}

std::string with_volume(const std::string& name, const Image* image) {
  const std::string volume = image == nullptr ? std::string() : volume_name(*image);
  return volume.empty() ? name : fmt::format("{} (volume {})", name, volume);
}

bool tells_more(const Agreement& a, const Agreement& b) noexcept {
  if (a.same_disc() != b.same_disc()) return a.same_disc();
  return a.compared > b.compared;
}

}  // namespace

Error stranger(const std::string& name, const std::string& known, const Agreement& agreement) {
  std::string numbers;
  if (agreement.compared == 0) {
    numbers = "they have no sector in common that both read and that would tell";
  } else {
    numbers = fmt::format("of {} sectors that both read {} are equal", agreement.compared, agreement.equal);
    if (agreement.first_difference_lba) {
      numbers += fmt::format(", the first that differs is LBA {}", *agreement.first_difference_lba);
    }
  }
  if (agreement.descriptors_equal + agreement.descriptors_differ != 0) {
    numbers += fmt::format("; of its volume descriptors {} are equal and {} differ", agreement.descriptors_equal,
                           agreement.descriptors_differ);
  }
  return {ErrorCode::kUsage,
          fmt::format("{} does not look like a read of the same disc as {}: {}; leave it out, or if you know better, "
                      "--force",
                      name, known, numbers)};
}

Result<AcceptedReads> accept_reads(std::span<const DiscRead> reads, bool force, const ProgressCallback& progress) {
  AcceptedReads accepted;
  for (std::size_t i = 0; i < reads.size() && reads[i].image != nullptr; ++i) {
    const Image* image = reads[i].image;
    Agreement best;
    std::size_t partner = 0;
    for (std::size_t k = 0; k < i && !best.same_disc(); ++k) {
      if (progress && !progress({"comparing the reads", 0, 0})) return Error{ErrorCode::kCancelled, "stopped"};
      const Agreement agreement = compare_reads(*accepted.images[k], *image);
      if (k != 0 && !tells_more(agreement, best)) continue;
      best = agreement;
      partner = k;
    }
    if (i != 0 && !best.same_disc() && !force) {
      return stranger(with_volume(reads[i].name, image), with_volume(reads[partner].name, accepted.images[partner]),
                      best);
    }
    if (best.shift_bytes != 0) {
      accepted.moved.push_back(shifted(*image, best.shift_bytes));
      image = accepted.moved.back().get();
    }
    accepted.images.push_back(image);
    accepted.agreements.push_back(best);
  }
  return accepted;
}

}  // namespace lacuna
