// SPDX-License-Identifier: GPL-3.0-or-later
#include "score.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cstring>
#include <map>
#include <memory>
#include <optional>

#include "lacuna/content.h"
#include "lacuna/verdict.h"

namespace lacuna::test {
namespace {

std::vector<std::string> tokens_of(std::string_view path) {
  std::vector<std::string> tokens;
  while (true) {
    const std::size_t slash = path.find('/');
    tokens.push_back(token_of(path.substr(0, slash)));
    if (slash == std::string_view::npos) return tokens;
    path.remove_prefix(slash + 1);
  }
}

/// A path that some view has the file under. Discs deeper than eight levels keep the lower ones apart for readers
/// without Rock Ridge (RRIP 4.1.5), which is a view as well.
bool is_right(const std::vector<std::string>& found, const std::vector<std::string>& path) {
  if (found == path) return true;
  return found.size() > 1 && (found.front() == "rr_moved" || found.front() == "RR_MOVED") &&
         found.size() - 1 <= path.size() &&
         std::equal(found.begin() + 1, found.end(), path.end() - static_cast<std::ptrdiff_t>(found.size() - 1));
}

class Scorer {
 public:
  Scorer(const AuthoredDisc& disc, const Limit& limit, const Damage& damage, Showing showing,
         const ScoreOptions& options, std::vector<std::string>* remarks)
      : disc_(disc), limit_(limit), damage_(damage), showing_(showing), options_(options), remarks_(remarks) {
    for (std::size_t i = 0; i < disc.files.size(); ++i) {
      by_number_[disc.files[i].number] = i;
      if (!disc.files[i].superseded) by_token_[disc.files[i].token()] = i;
    }
    found_.resize(disc.files.size());
    listed_.resize(disc.files.size());
  }

  Tally run() {
    bytes_ = damaged_bytes(disc_, damage_, showing_);
    const auto image = damaged_image(bytes_, damage_, showing_).open();
    const auto start = std::chrono::steady_clock::now();
    DiscOptions opening;
    opening.scan = options_.scan;
    opening.threads = options_.threads;
    const auto opened = open_disc(*image, opening);
    tally_.discs = 1;
    if (opened.ok()) {
      read_ = opened->get();
      JudgeOptions judging;
      judging.threads = options_.threads;
      const auto verdicts = judge(*read_, judging);
      tally_.seconds = since(start);
      if (verdicts.ok()) go_through(*verdicts);
    } else {
      tally_.seconds = since(start);
      tally_.unopened = 1;
    }
    count();
    return tally_;
  }

 private:
  enum Found : std::uint8_t { kNot, kElsewhereDoubtful, kElsewhere, kRightDoubtful, kRight };

  static double since(std::chrono::steady_clock::time_point start) {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  }
  void remark(std::string_view what, std::string_view subject, const std::string& why) {
    if (remarks_ == nullptr) return;
    remarks_->push_back(fmt::format("{}: {} | {} | seed {} | {} | {} | {}", what, disc_.name, damage_.name,
                                    damage_.seed, to_string(showing_), subject, why));
  }

  void go_through(const Verdicts& verdicts) {
    for (const NodeId id : read_->tree().in_order()) {
      const Node& node = read_->tree().node(id);
      if (node.is_directory()) continue;
      const std::string path = read_->tree().path(id);
      const std::vector<std::string> tokens = tokens_of(path);
      const auto named = by_token_.find(tokens.back());
      if (named != by_token_.end()) listed_[named->second] = true;
      const FileState state = verdicts.of(id).state;
      if (state != FileState::kWhole && state != FileState::kDoubtful) continue;
      look_at(id, path, tokens, state);
    }
  }

  void look_at(NodeId id, const std::string& path, const std::vector<std::string>& tokens, FileState state) {
    const bool whole = state == FileState::kWhole;
    const Node& node = read_->tree().node(id);
    // Room for the other file system of a bridge disc, and images stored as files: not made of tagged blocks.
    if (tokens.back().starts_with("A_ROOM") || tokens.back().starts_with("stored.")) return;
    if (node.size > kMostBytes) {
      if (whole) falsely(path, "larger than any file of the disc");
      return;
    }
    std::vector<std::uint8_t> content(node.size);
    std::vector<Gap> gaps;
    FileReader reader(*read_, id);
    if (reader.read(0, content, gaps) != node.size) {
      if (whole) falsely(path, "can't be read to its end");
      return;
    }
    const auto named = by_token_.find(tokens.back());
    std::optional<std::size_t> file = whose(content);
    if (!file && named != by_token_.end()) file = named->second;
    if (!file) file = at_the_place_of(node);  // noise all over, and nothing names it: by its place, then
    if (!file) {
      if (!whole) return;
      if (is_foreign(content)) {
        ++tally_.foreign;
        remark("FOREIGN", path, "is no file of this volume");
      } else {
        falsely(path, "nothing of it was put on the disc");
      }
      return;
    }
    const TaggedFile& f = disc_.files[*file];
    if (const std::string wrong = differs(*file, content); !wrong.empty()) {
      if (whole) falsely(path, wrong);
      return;
    }
    if (f.superseded) {
      const bool last_shown = read_->sessions().empty() || disc_.last_session_lba == 0 ||
                              read_->sessions().back().start_lba >= disc_.last_session_lba;
      if (whole && node.evidence == Evidence::kTree && last_shown) {
        ++tally_.misnamed;
        remark("EARLIER AS LAST", path, fmt::format("holds file {}, which was replaced", f.number));
      }
      return;
    }
    if (whole && named != by_token_.end() && named->second != *file) {
      ++tally_.misnamed;
      remark("MISNAMED", path, fmt::format("holds {}", f.token()));
      return;
    }
    const Found how =
        is_right(tokens, f.path) ? (whole ? kRight : kRightDoubtful) : (whole ? kElsewhere : kElsewhereDoubtful);
    if (found_[*file] != kNot && whole) {
      ++tally_.twice;
      if (options_.all_elsewhere) remark("twice", path, paths_[*file]);
    }
    if (how <= found_[*file]) return;
    found_[*file] = how;
    paths_[*file] = path;
  }

  void falsely(const std::string& path, const std::string& why) {
    ++tally_.false_whole;
    remark("FALSE WHOLE", path, why);
  }

  /// Whose file the bytes are, by the first tag in them.
  std::optional<std::size_t> whose(std::span<const std::uint8_t> content) const {
    for (std::size_t at = 0; at < content.size(); at += kTaggedBlockBytes) {
      const auto number = tagged_file(content.subspan(at));
      if (!number) continue;
      const auto known = by_number_.find(*number);
      return known == by_number_.end() ? std::nullopt : std::optional(known->second);
    }
    return std::nullopt;
  }

  /// Whole indeed, by the tags of its blocks, but nothing that was put into the volume itself.
  static bool is_foreign(std::span<const std::uint8_t> content) {
    const auto number = tagged_file(content);
    if (!number) return false;
    const std::string meant = tagged_content(*number, content.size());
    return std::memcmp(meant.data(), content.data(), content.size()) == 0;
  }

  std::optional<std::size_t> at_the_place_of(const Node& node) const {
    const auto extents = read_->tree().extents(node);
    if (extents.empty() || !extents.front().has_place()) return std::nullopt;
    const std::uint64_t shift = damage_.start_known ? 0 : damage_.first * 2048;
    for (std::size_t i = 0; i < disc_.files.size(); ++i) {
      if (limit_.blocks().place(disc_.files[i].number, 0) == extents.front().position + shift) return i;
    }
    return std::nullopt;
  }

  /// Holds the bytes against those of the image where the file's blocks were put; empty when they agree. Noise in the
  /// place of a block is what must come out then: nobody can know better.
  std::string differs(std::size_t file, std::span<const std::uint8_t> content) const {
    const TaggedFile& f = disc_.files[file];
    if (content.size() != f.bytes) return fmt::format("{} bytes long, not {}", content.size(), f.bytes);
    for (std::uint64_t at = 0; at < f.bytes; at += kTaggedBlockBytes) {
      const auto block = static_cast<std::uint32_t>(at / kTaggedBlockBytes);
      const auto place = limit_.blocks().place(f.number, block);
      const std::uint64_t n = std::min<std::uint64_t>(kTaggedBlockBytes, f.bytes - at);
      if (!place || *place < damage_.first * 2048 || *place + n > damage_.end * 2048 ||
          std::memcmp(content.data() + at, bytes_.data() + (*place - damage_.first * 2048), n) != 0) {
        return fmt::format("other bytes than file {} has in block {}", f.number, block);
      }
    }
    return {};
  }

  void count() {
    for (std::size_t i = 0; i < disc_.files.size(); ++i) {
      const Limit::Of of = limit_.of(i, damage_);
      const std::string subject = fmt::format("{}", fmt::join(disc_.files[i].path, "/"));
      if (of.data && !of.placed && of.named) {
        ++tally_.named;
        if (listed_[i]) {
          ++tally_.named_listed;
        } else if (options_.all_elsewhere) {
          remark("not listed", subject, limit_.evidence(i, damage_));
        }
      }
      if (!of.found()) {
        tally_.beyond += of.data && found_[i] != kNot ? 1 : 0;
        continue;
      }
      ++tally_.limit;
      tally_.path_limit += of.path_named ? 1 : 0;
      switch (found_[i]) {
        case kNot:
          ++tally_.missed;
          remark("missed", subject, limit_.evidence(i, damage_) + (listed_[i] ? ", its name is listed" : ""));
          break;
        case kElsewhere:
        case kElsewhereDoubtful:
          ++tally_.elsewhere;
          tally_.path_known += of.path_named ? 1 : 0;
          if (options_.all_elsewhere) {
            remark(of.path_named ? "elsewhere, names survive" : "elsewhere", subject,
                   "as " + paths_[i] + ", " + limit_.evidence(i, damage_));
          }
          break;
        case kRight:
        case kRightDoubtful:
          ++tally_.right;
          break;
      }
      tally_.doubtful += found_[i] == kRightDoubtful || found_[i] == kElsewhereDoubtful ? 1 : 0;
    }
  }

  static constexpr std::uint64_t kMostBytes = std::uint64_t{1} << 24;

  const AuthoredDisc& disc_;
  const Limit& limit_;
  const Damage& damage_;
  Showing showing_;
  const ScoreOptions& options_;
  std::vector<std::string>* remarks_;
  std::map<std::uint32_t, std::size_t> by_number_;
  std::map<std::string, std::size_t> by_token_;
  std::vector<std::uint8_t> bytes_;
  const Disc* read_ = nullptr;
  std::vector<Found> found_;
  std::vector<bool> listed_;
  std::map<std::size_t, std::string> paths_;
  Tally tally_;
};

}  // namespace

Tally& Tally::operator+=(const Tally& o) {
  discs += o.discs;
  unopened += o.unopened;
  limit += o.limit;
  path_limit += o.path_limit;
  right += o.right;
  elsewhere += o.elsewhere;
  path_known += o.path_known;
  doubtful += o.doubtful;
  missed += o.missed;
  beyond += o.beyond;
  named += o.named;
  named_listed += o.named_listed;
  false_whole += o.false_whole;
  misnamed += o.misnamed;
  foreign += o.foreign;
  twice += o.twice;
  seconds += o.seconds;
  return *this;
}

Tally score(const AuthoredDisc& disc, const Limit& limit, const Damage& damage, Showing showing,
            const ScoreOptions& options, std::vector<std::string>* remarks) {
  return Scorer(disc, limit, damage, showing, options, remarks).run();
}

}  // namespace lacuna::test
