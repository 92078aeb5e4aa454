// SPDX-License-Identifier: GPL-3.0-or-later
// The files of a page, as columns: a text of one character a node where few values are possible, else an array. Node 0
// is the root; the others follow in the order of listings, so that depths alone tell the tree.
#include <array>

#include "disc/raw_content.h"
#include "lacuna/file_kind.h"
#include "report/page.h"
#include "report/walk.h"

namespace lacuna::report {
namespace {

char digit(unsigned value) { return static_cast<char>('0' + value); }

class PageFiles {
 public:
  PageFiles(const PageFacts& facts, Out& out) : facts_(facts), tree_(facts.tree()), out_(out), json_(out) {}

  void put() {
    json_.open_object();
    json_.put("nodes", std::uint64_t{tree_.size()});
    names();
    depths();
    texts();
    column("sizes", [](NodeId, const Node& n) { return n.size; });
    dates();
    extents();
    losses();
    doubts();
    details();
    json_.close_object();
  }

 private:
  /// f for all nodes, the root first.
  template <class F>
  void each(F&& f) {
    f(kRoot, tree_.node(kRoot));
    for_each_node(tree_, [&](NodeId id, const Node& n, std::string_view) {
      f(id, n);
      out_.hand_on();
    });
  }
  template <class F>
  void column(std::string_view key, F&& value) {
    json_.open_array(key);
    each([&](NodeId id, const Node& n) { json_.value(value(id, n)); });
    json_.close_array();
  }
  template <class F>
  void letters(std::string_view key, F&& letter) {
    std::string text;
    text.reserve(tree_.size());
    each([&](NodeId id, const Node& n) { text += letter(id, n); });
    json_.put(key, std::string_view(text));
  }
  /// {"ID": …} of the nodes for which `put` is to be called.
  template <class Is, class Put>
  void sparse(std::string_view key, Is&& is, Put&& put) {
    json_.open_object(key);
    each([&](NodeId id, const Node& n) {
      if (!is(id, n)) return;
      json_.name(fmt::to_string(id));
      put(id, n);
    });
    json_.close_object();
  }

  void names() {
    column("names", [this](NodeId, const Node& n) { return tree_.name(n); });
    std::array<bool, kViewCount> used{};
    each([&](NodeId, const Node& n) {
      for (std::size_t v = 0; v < used.size(); ++v) used[v] = used[v] || differs(n, v);
    });
    json_.open_object("other_names");
    for (std::size_t v = 0; v < used.size(); ++v) {
      if (!used[v]) continue;
      json_.open_array(to_string(static_cast<View>(v)));
      each([&](NodeId, const Node& n) {
        differs(n, v) ? json_.value(tree_.text(n.names[v])) : json_.value(std::uint64_t{0});
      });
      json_.close_array();
    }
    json_.close_object();
  }
  /// Whether a view has another name for it than the one shown.
  bool differs(const Node& n, std::size_t view) const {
    return n.names[view].length != 0 && tree_.text(n.names[view]) != tree_.name(n);
  }

  void depths() {
    std::vector<std::uint32_t> depth(tree_.size());
    column("depths", [&depth](NodeId id, const Node& n) {
      if (id != kRoot) depth[id] = depth[n.parent] + 1;
      return depth[id];
    });
  }

  void texts() {
    const Verdicts& verdicts = facts_.verdicts();
    letters("states", [&](NodeId id, const Node&) { return digit(static_cast<unsigned>(verdicts.of(id).state)); });
    letters("bases", [&](NodeId id, const Node&) { return digit(static_cast<unsigned>(verdicts.of(id).basis)); });
    letters("kinds", [](NodeId, const Node& n) { return digit(static_cast<unsigned>(n.kind)); });
    letters("topics", [this](NodeId, const Node& n) {
      return n.is_directory() ? '-' : digit(static_cast<unsigned>(file_kind(tree_.name(n))));
    });
    letters("views", [](NodeId, const Node& n) { return digit(static_cast<unsigned>(n.view)); });
    letters("evidence", [](NodeId, const Node& n) { return digit(static_cast<unsigned>(n.evidence)); });
  }

  /// Seconds since 1970 on the clock of the zone recorded, null when not known; and the zones in minutes, as runs.
  void dates() {
    json_.open_array("dates");
    each([this](NodeId, const Node& n) {
      if (n.modified.known) {
        json_.value(n.modified.seconds + std::int64_t{n.modified.zone_minutes} * 60);
      } else {
        json_.null();
      }
    });
    json_.close_array();
    json_.open_array("zones");
    std::int64_t zone = 0, count = 0;
    const auto put_run = [&] {
      if (count != 0) json_.value(count), json_.value(zone);
    };
    each([&](NodeId, const Node& n) {
      if (n.modified.zone_minutes != zone) {
        put_run();
        zone = n.modified.zone_minutes;
        count = 0;
      }
      ++count;
    });
    put_run();
    json_.close_array();
  }

  /// LBA of the one extent that holds all of a file from a sector's start; -1 of any other node.
  bool is_plain(const Node& n) const {
    const std::span<const Extent> e = tree_.extents(n);
    return e.size() == 1 && e[0].has_place() && e[0].position % kSectorBytes == 0 && e[0].bytes == n.size &&
           e[0].gap_bytes == 0;
  }
  void extents() {
    column("lbas", [this](NodeId, const Node& n) {
      return is_plain(n) ? static_cast<std::int64_t>(tree_.extents(n)[0].position / kSectorBytes) : std::int64_t{-1};
    });
    sparse(
        "extents", [this](NodeId, const Node& n) { return n.extent_count != 0 && !is_plain(n); },
        [this](NodeId, const Node& n) {
          json_.open_array();
          const std::span<const Extent> all = tree_.extents(n);
          json_.value(std::uint64_t{all.size()});  // How many there are; no more than kMostPageExtents follow.
          for (const Extent& e : all.first(std::min(all.size(), kMostPageExtents))) {
            json_.value(e.position == kZeros     ? std::int64_t{-1}
                        : e.position == kNowhere ? std::int64_t{-2}
                                                 : static_cast<std::int64_t>(e.position));
            json_.value(e.bytes);
            json_.value(e.gap_bytes == 0 ? std::uint32_t{0} : e.unit_bytes);
            json_.value(e.unit_bytes == 0 ? std::uint32_t{0} : e.gap_bytes);
          }
          json_.close_array();
        });
  }

  void losses() {
    const Verdicts& verdicts = facts_.verdicts();
    sparse(
        "missing", [&](NodeId id, const Node&) { return verdicts.of(id).missing_bytes != 0; },
        [&](NodeId id, const Node&) { json_.value(verdicts.of(id).missing_bytes); });
    sparse(
        "gaps", [&](NodeId id, const Node&) { return verdicts.of(id).gap_count != 0; },
        [&](NodeId id, const Node&) {
          const std::span<const Gap> all = verdicts.gaps(verdicts.of(id));
          json_.open_array();
          json_.value(std::uint64_t{all.size()});
          for (const Gap& g : all.first(std::min(all.size(), kMostPageGaps))) {
            json_.value(g.offset);
            json_.value(g.length);
            json_.value(std::uint64_t{static_cast<unsigned>(g.state)});
          }
          json_.close_array();
        });
  }

  void doubts() {
    const Verdicts& verdicts = facts_.verdicts();
    sparse(
        "doubts",
        [&](NodeId id, const Node&) { return verdicts.of(id).state != FileState::kWhole || tree_.has_doubts(id); },
        [&](NodeId id, const Node&) {
          json_.open_array();
          for (const std::string& doubt : verdicts.doubts(facts_.disc(), id)) json_.value(doubt);
          json_.close_array();
        });
  }

  void details() {
    constexpr std::array<std::pair<std::uint16_t, std::string_view>, 11> kWords{{
        {node_flag::kHidden, "hidden"},
        {node_flag::kAssociated, "associated file"},
        {node_flag::kBoot, "from the boot catalog"},
        {node_flag::kSizeGuessed, "size guessed"},
        {node_flag::kRelocated, "relocated directory"},
        {node_flag::kDeleted, "marked as deleted"},
        {node_flag::kStream, "named stream"},
        {node_flag::kSystem, "system file"},
        {node_flag::kOrphans, "what has lost its folder"},
        {node_flag::kNameMade, "name made for want of one"},
        {node_flag::kRawSectors, "whole CD sectors behind a header"},
    }};
    constexpr std::uint16_t kSaid = [&kWords] {
      unsigned all = 0;
      for (const auto& [flag, word] : kWords) all |= flag;
      return static_cast<std::uint16_t>(all);
    }();
    sparse(
        "marks", [](NodeId, const Node& n) { return n.has(kSaid); },
        [&](NodeId, const Node& n) {
          json_.open_array();
          for (const auto& [flag, word] : kWords) {
            if (n.has(flag)) json_.value(word);
          }
          json_.close_array();
        });
    sparse(
        "targets",
        [this](NodeId, const Node& n) { return n.details != 0 && tree_.details(n).symlink_target.length != 0; },
        [this](NodeId, const Node& n) { json_.value(tree_.text(tree_.details(n).symlink_target)); });
  }

  const PageFacts& facts_;
  const Tree& tree_;
  Out& out_;
  Json json_;
};

}  // namespace

void put_page_files(const PageFacts& facts, Out& out) { PageFiles(facts, out).put(); }

}  // namespace lacuna::report
