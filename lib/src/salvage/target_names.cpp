// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/target_names.h"

#include <fmt/format.h>
#include <xxhash.h>

#include <algorithm>
#include <array>
#include <iterator>
#include <unordered_set>
#include <vector>

#include "base/text.h"
#include "base/utf8.h"
#include "salvage/target_names_fold.h"

namespace lacuna {
namespace {

using namespace std::string_view_literals;

// Extensions up to this length, dot included, outlive the shortening of a name.
constexpr std::size_t kMaxExtensionBytes = 16;

// Device names of DOS and Windows, which name a device whatever extension follows (Microsoft, "Naming Files, Paths,
// and Namespaces"; COM and LPT are followed by a digit, superscript ones included).
constexpr std::array kDevices{"con"sv, "prn"sv, "aux"sv, "nul"sv, "conin$"sv, "conout$"sv, "clock$"sv};
constexpr std::array kNumberedDevices{"com"sv, "lpt"sv};
constexpr std::array kDeviceNumbers{"0"sv, "1"sv, "2"sv, "3"sv,        "4"sv,        "5"sv,       "6"sv,
                                    "7"sv, "8"sv, "9"sv, "\xC2\xB9"sv, "\xC2\xB2"sv, "\xC2\xB3"sv};

bool is_device(std::string_view stem) {
  const std::string lower = lower_ascii(stem);
  const auto is = [&](std::string_view s) { return lower == s; };
  if (std::any_of(kDevices.begin(), kDevices.end(), is)) return true;
  return std::any_of(kNumberedDevices.begin(), kNumberedDevices.end(), [&](std::string_view device) {
    return lower.starts_with(device) && std::any_of(kDeviceNumbers.begin(), kDeviceNumbers.end(), [&](auto number) {
             return std::string_view(lower).substr(device.size()) == number;
           });
  });
}

void append_escaped(std::string& to, std::string_view bytes) {
  for (const char c : bytes) fmt::format_to(std::back_inserter(to), "%{:02X}", static_cast<unsigned char>(c));
}

bool needs_escape(const CodePoint& c, bool portable) {
  if (!c.well_formed() || c.value < 0x20 || (c.value >= 0x7F && c.value < 0xA0) || c.value == U'/') return true;
  return portable && c.value < 0x80 && R"(<>:"\|?*)"sv.find(static_cast<char>(c.value)) != std::string_view::npos;
}

/// Length of the longest beginning of at most `bytes` bytes that ends between two code points.
std::size_t cut_at(std::string_view text, std::size_t bytes) {
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t next = at + code_point_at(text, at).length;
    if (next > bytes) break;
    at = next;
  }
  return at;
}

/// Where the extension begins, or the name's end.
std::size_t extension_start(std::string_view name) {
  const std::size_t dot = name.rfind('.');
  return dot == std::string_view::npos || dot == 0 || name.size() - dot > kMaxExtensionBytes ? name.size() : dot;
}

// --- folding ---

constexpr bool is_combining(char32_t c) {
  constexpr std::array<std::pair<char32_t, char32_t>, 9> kBlocks{{{0x300, 0x36F},
                                                                  {0x483, 0x487},
                                                                  {0x591, 0x5C7},
                                                                  {0x610, 0x61A},
                                                                  {0x64B, 0x65F},
                                                                  {0x1AB0, 0x1AFF},
                                                                  {0x1DC0, 0x1DFF},
                                                                  {0x20D0, 0x20FF},
                                                                  {0x3099, 0x309A}}};
  return std::any_of(kBlocks.begin(), kBlocks.end(), [&](const auto& b) { return c >= b.first && c <= b.second; });
}

void fold_into(std::u32string& to, char32_t c) {
  if (c < 0x80) {
    to += c >= U'A' && c <= U'Z' ? c + 0x20 : c;
    return;
  }
  if (c >= 0xAC00 && c <= 0xD7A3) {  // Hangul syllables are decomposed by rule (Unicode 15, 3.12)
    const char32_t s = c - 0xAC00;
    to += 0x1100 + s / 588;
    to += 0x1161 + s % 588 / 28;
    if (s % 28 != 0) to += 0x11A7 + s % 28;
    return;
  }
  const auto run = std::lower_bound(std::begin(kFoldRuns), std::end(kFoldRuns), c,
                                    [](const FoldRun& r, char32_t value) { return r.last < value; });
  if (run != std::end(kFoldRuns) && c >= run->first && (c - run->first) % run->step == 0) {
    to += static_cast<char32_t>(static_cast<std::int64_t>(c) + run->delta);
    return;
  }
  const auto many = std::lower_bound(std::begin(kFoldMany), std::end(kFoldMany), c,
                                     [](const FoldMany& m, char32_t value) { return m.from < value; });
  if (many == std::end(kFoldMany) || many->from != c) {
    to += c;
    return;
  }
  for (const char32_t part : many->to) {
    if (part != 0) to += part;
  }
}

}  // namespace

bool is_reserved_at_root(std::string_view name) {
  const std::string lower = lower_ascii(name);
  return lower == kManifestName || lower == lower_ascii(kSumsName) || lower == kWorkName || lower == kDamagedFolder ||
         lower == kDiscsFolder;
}

std::string fold_key(std::string_view name) {
  std::u32string folded;
  std::string out;
  for (std::size_t at = 0; at < name.size();) {
    const CodePoint c = code_point_at(name, at);
    at += c.length;
    if (c.well_formed()) {
      fold_into(folded, c.value);
    } else {
      folded += c.value;
    }
  }
  for (auto first = folded.begin(); first != folded.end();) {
    first = std::find_if(first, folded.end(), is_combining);
    const auto last = std::find_if_not(first, folded.end(), is_combining);
    std::sort(first, last);
    first = last;
  }
  for (const char32_t c : folded) {
    if (c < CodePoint::kIllFormed) {
      append_utf8(out, c);
    } else {
      out += static_cast<char>(c - CodePoint::kIllFormed);
    }
  }
  return out;
}

std::string with_suffix(std::string_view name, std::string_view original, unsigned attempt, std::size_t max_bytes) {
  const std::uint64_t hash = XXH3_64bits_withSeed(original.data(), original.size(), attempt);
  const std::string tag = fmt::format("~{:08x}", hash >> 32);
  const std::size_t dot = extension_start(name);
  const std::string_view extension = name.substr(dot);
  const std::string_view stem = name.substr(0, dot);
  return fmt::format("{}{}{}", stem.substr(0, cut_at(stem, max_bytes - tag.size() - extension.size())), tag, extension);
}

std::string clean_name(std::string_view name, bool portable) {
  if (name.empty()) return "_";
  std::string out;
  if (name == "." || name == ".." || lower_ascii(name).starts_with(kPartPrefix)) {
    append_escaped(out, name.substr(0, name == ".." ? 2 : 1));
    name.remove_prefix(name == ".." ? 2 : 1);
  }
  for (std::size_t at = 0; at < name.size();) {
    const CodePoint c = code_point_at(name, at);
    const std::string_view bytes = name.substr(at, c.length);
    const bool last = at + c.length == name.size();
    if (needs_escape(c, portable) || (portable && last && (c.value == U'.' || c.value == U' '))) {
      append_escaped(out, bytes);
    } else {
      out += bytes;
    }
    at += c.length;
  }
  const std::size_t dot = std::min(out.find('.'), out.size());
  std::size_t stem = dot;
  while (stem != 0 && out[stem - 1] == ' ') --stem;
  if (is_device(std::string_view(out).substr(0, stem))) out.insert(stem, 1, '_');
  return out.size() > kMaxNameBytes ? with_suffix(out, name) : out;
}

std::string damaged_path(std::string_view target) {
  std::string out(kDamagedFolder);
  for (std::size_t at = 0; at <= target.size();) {
    const std::size_t end = std::min(target.find('/', at), target.size());
    const std::string_view part = target.substr(at, end - at);
    out += '/';
    out += lower_ascii(part).ends_with(kGapListEnd) ? with_suffix(part, part) : std::string(part);
    at = end + 1;
  }
  return out;
}

std::string gap_list_path(std::string_view damaged_target) {
  const std::size_t start = damaged_target.rfind('/') + 1;
  const std::string_view name = damaged_target.substr(start);
  const std::size_t max_bytes = kMaxNameBytes - kGapListEnd.size();
  return fmt::format("{}{}{}", damaged_target.substr(0, start),
                     name.size() > max_bytes ? with_suffix(name, name, 0, max_bytes) : std::string(name), kGapListEnd);
}

TargetNames::TargetNames(const Tree& tree, bool portable) : tree_(&tree) {
  for (NodeId id = 0; id < tree.size(); ++id) {
    if (tree.node(id).is_directory()) name_children(id, portable);
  }
}

void TargetNames::name_children(NodeId parent, bool portable) {
  struct Change {
    NodeId id;
    std::string name;
    bool clashes;  // with one of our own names
  };
  std::vector<Change> changes;
  std::unordered_set<std::string> taken;  // by key; filled only where a clash is possible
  const auto key = [&](std::string_view name) { return portable ? fold_key(name) : std::string(name); };

  // Deleted files come last, so that none takes the name of a file that is not: with them or without, that keeps it.
  for (const bool deleted : {false, true}) {
    bool any = false;
    for (NodeId id = tree_->node(parent).first_child; id != kNoNode; id = tree_->node(id).next_sibling) {
      const Node& n = tree_->node(id);
      any = any || n.has(node_flag::kDeleted);
      if (n.has(node_flag::kDeleted) != deleted) continue;
      const std::string_view name = tree_->name(n);
      std::string wanted = clean_name(name, portable);
      const bool reserved = parent == kRoot && is_reserved_at_root(wanted);
      const bool as_is = wanted == name && !reserved;
      if (as_is && (!portable || taken.insert(key(name)).second)) continue;
      changes.push_back({id, std::move(wanted), reserved || as_is});
    }
    if (!any) break;
  }
  if (changes.empty()) return;
  if (!portable) {
    std::unordered_set<NodeId> changing;
    for (const Change& c : changes) changing.insert(c.id);
    for (NodeId id = tree_->node(parent).first_child; id != kNoNode; id = tree_->node(id).next_sibling) {
      if (!changing.contains(id)) taken.emplace(tree_->name(tree_->node(id)));
    }
  }
  for (Change& c : changes) {
    const std::string_view original = tree_->name(tree_->node(c.id));
    std::string name = c.clashes ? with_suffix(c.name, original) : c.name;
    for (unsigned attempt = 1; !taken.insert(key(name)).second; ++attempt)
      name = with_suffix(c.name, original, attempt);
    changed_.emplace(c.id, std::move(name));
  }
}

std::string_view TargetNames::name(NodeId id) const {
  const auto it = changed_.find(id);
  return it != changed_.end() ? std::string_view(it->second) : tree_->name(tree_->node(id));
}

std::string TargetNames::path(NodeId id) const {
  std::vector<std::string_view> names;
  std::size_t bytes = 0;
  for (; id != kRoot && id != kNoNode; id = tree_->node(id).parent) {
    names.push_back(name(id));
    bytes += names.back().size() + 1;
  }
  std::string out;
  out.reserve(bytes);
  for (auto it = names.rbegin(); it != names.rend(); ++it) {
    if (!out.empty()) out += '/';
    out += *it;
  }
  return out;
}

}  // namespace lacuna
