// SPDX-License-Identifier: GPL-3.0-or-later
// TwinBox: a disc written by hand that is damaged here, or a donor.
#pragma once

#include <initializer_list>
#include <map>
#include <string>
#include <vector>

#include "lacuna/twins.h"
#include "salvage/completed_reader.h"
#include "salvage/pull_box.h"

namespace lacuna::test {

inline constexpr std::size_t kBlock = 2048;
inline constexpr std::int64_t kMoment = 1'000'000'000;

/// Blocks of noise, `count` of them; seeds tell them apart.
inline std::string blocks(std::size_t count, unsigned seed) { return noise(count * kBlock, seed); }

class TwinBox : public PullBox {
 public:
  explicit TwinBox(std::string name) : name_(std::move(name)) {}

  /// A file some blocks of which are bad.
  void damaged(const std::string& file_name, std::string content, std::vector<Range> bad_blocks,
               Timestamp modified = date(1'000'000'000)) {
    const std::uint64_t lba = file(file_name, std::move(content), 0, modified);
    for (const Range& r : bad_blocks) bad_.push_back({lba + r.first, lba + r.end});
  }
  void whole(const std::string& file_name, std::string content, Timestamp modified = date(1'000'000'000)) {
    damaged(file_name, std::move(content), {}, modified);
  }
  TwinBox& ready() {
    MemoryImage image = memory();
    for (const Range& r : bad_) image.mark(r.first, r.length(), SectorState::kBad);
    open(image.open(name_));
    return *this;
  }
  NodeId id(std::string_view path) const {
    for (NodeId i = 0; i < disc().tree().size(); ++i) {
      if (disc().tree().path(i) == path) return i;
    }
    ADD_FAILURE() << "no file " << path;
    return kRoot;
  }
  const std::string& name() const { return name_; }

 private:
  std::string name_;
  std::vector<Range> bad_;
};

inline std::unique_ptr<const Twins> find_twins(const TwinBox& here, const std::vector<const TwinBox*>& donors) {
  auto search = TwinSearch::start(here.disc(), here.verdicts());
  EXPECT_TRUE(search.ok());
  for (const TwinBox* donor : donors) {
    const auto looked = (*search)->look_at(donor->disc(), donor->name());
    EXPECT_TRUE(looked.ok());
  }
  return (*search)->finish();
}

inline const TwinFile& twin_of(const Twins& twins, const TwinBox& here, std::string_view path) {
  static const TwinFile none;
  const NodeId id = here.id(path);
  for (const TwinFile& f : twins.files()) {
    if (f.node == id) return f;
  }
  ADD_FAILURE() << path << " is not among the files that need help";
  return none;
}

/// The bytes of a file as completed; a gap that is left is a failure of the test.
inline std::string completed(const Twins& twins, const TwinBox& here, std::string_view path) {
  const NodeId id = here.id(path);
  CompletedReader reader(here.disc(), id, &twins);
  std::string out(here.disc().tree().node(id).size, '\0');
  std::vector<Gap> gaps;
  reader.read(0, {reinterpret_cast<std::uint8_t*>(out.data()), out.size()}, gaps);
  EXPECT_TRUE(gaps.empty()) << path;
  return out;
}

}  // namespace lacuna::test
