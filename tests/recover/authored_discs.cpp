// SPDX-License-Identifier: GPL-3.0-or-later
#include "authored_discs.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <functional>
#include <map>
#include <random>
#include <set>

#include "support/authoring.h"
#include "support/iso_builder.h"
#include "support/process.h"
#include "support/tagged_blocks.h"

namespace lacuna::test {
namespace {

constexpr std::uint32_t kReplacing = 50000;  // added to the number of a file that replaces another
constexpr std::uint32_t kAdded = 70000;      // numbers of files that came later

struct PlannedFile {
  std::uint32_t number = 0;
  std::uint64_t bytes = 0;
  std::string name;
};
struct Folder {
  std::string name;
  std::vector<Folder> folders;
  std::vector<PlannedFile> files;
};
struct PlanOptions {
  std::uint32_t files = 300;
  bool latin_only = false;
  bool deep = false;  ///< Down to twelve levels; else to six.
};

constexpr std::array<std::string_view, 8> kWords = {
    "harbour", "letters of the winter", "pictures, second roll", "summer", "accounts and receipts", "garden",
    "museum",  "the old lighthouse",
};

std::string folder_name(std::uint32_t number) {
  return fmt::format("d{:03} {}", number, kWords[number * 5 % kWords.size()]);
}

std::string file_name(std::uint32_t number, bool latin_only) {
  const std::string_view word = kWords[number * 3 % kWords.size()];
  if (!latin_only && number % 5 == 4) return fmt::format("f{:05} гавань {}.bin", number, word);
  return number % 2 == 0 ? fmt::format("f{:05} {}.bin", number, word)
                         : fmt::format("f{:05} {} as it was, {}.bin", number, word, number);
}

std::uint64_t some_size(std::mt19937& random, std::uint32_t number) {
  std::uint64_t bytes = number % 40 == 7  ? 100000 + random() % 200000
                        : number % 3 == 0 ? 8000 + random() % 40000
                        : number % 3 == 1 ? 2048
                                          : kTagBytes + random() % 6000;
  const std::uint64_t tail = bytes % kTaggedBlockBytes;
  if (tail != 0 && tail < kTagBytes) bytes += kTagBytes;
  return bytes;
}

/// A tree with a folder of many files, and the others spread over folders within folders.
Folder plan_tree(const PlanOptions& options) {
  std::mt19937 random(options.deep ? 12 : 11);
  const std::uint32_t count = std::max<std::uint32_t>(12, options.files / 10), depth = options.deep ? 12 : 6;
  std::vector<std::uint32_t> parents(count), depths(count);
  for (std::uint32_t k = 0; k < count; ++k) {  // folder k + 1; 0 is the root
    auto parent = static_cast<std::uint32_t>(k < 3 ? 0 : random() % (k + 1));
    if (k >= 3 && k < depth + 2) parent = k;  // a chain down to the bottom
    while (parent != 0 && depths[parent - 1] >= depth) parent = parents[parent - 1];
    parents[k] = parent;
    depths[k] = parent == 0 ? 1 : depths[parent - 1] + 1;
  }
  std::vector<std::vector<PlannedFile>> files(count + 1);
  for (std::uint32_t i = 0; i < options.files; ++i) {
    const std::size_t to = i % 3 == 0 ? 1 : random() % (count + 1);
    files[to].push_back({i, some_size(random, i), file_name(i, options.latin_only)});
  }
  std::vector<Folder> folders(count + 1);
  for (std::uint32_t k = count + 1; k-- > 0;) {  // children have higher numbers than parents
    folders[k].name = k == 0 ? "" : folder_name(k);
    folders[k].files = std::move(files[k]);
    std::ranges::reverse(folders[k].folders);
    if (k != 0) folders[parents[k - 1]].folders.push_back(std::move(folders[k]));
  }
  return std::move(folders[0]);
}

void list_files(const Folder& folder, const std::vector<std::string>& above, std::vector<TaggedFile>& into) {
  for (const PlannedFile& f : folder.files) {
    TaggedFile file;
    file.number = f.number;
    file.bytes = f.bytes;
    file.path = above;
    file.path.push_back(token_of(f.name));
    into.push_back(std::move(file));
  }
  for (const Folder& sub : folder.folders) {
    std::vector<std::string> path = above;
    path.push_back(token_of(sub.name));
    list_files(sub, path, into);
  }
}

std::vector<TaggedFile> list_files(const Folder& root) {
  std::vector<TaggedFile> files;
  list_files(root, {}, files);
  return files;
}

void write_tree(const Folder& folder, const std::filesystem::path& to) {
  std::filesystem::create_directories(to);
  for (const PlannedFile& f : folder.files) write_file(to / f.name, tagged_content(f.number, f.bytes));
  for (const Folder& sub : folder.folders) write_tree(sub, to / sub.name);
}

/// What a second session brings: every seventh file anew, and some that were not there. Folders are those of the tree.
Folder later_tree(const Folder& folder, std::uint32_t& added, bool root = true) {
  Folder later;
  later.name = folder.name;
  for (const PlannedFile& f : folder.files) {
    if (f.number % 7 == 3) later.files.push_back({f.number + kReplacing, f.bytes + 4096, f.name});
  }
  for (const Folder& sub : folder.folders) {
    Folder changed = later_tree(sub, added, false);
    if (!changed.files.empty() || !changed.folders.empty()) later.folders.push_back(std::move(changed));
  }
  if (root) {
    Folder fresh;
    fresh.name = folder_name(900);
    for (; added < 20; ++added) {
      fresh.files.push_back({kAdded + added, 2048 + std::uint64_t{added} * 700, file_name(kAdded + added, true)});
    }
    later.folders.push_back(std::move(fresh));
  }
  return later;
}

/// The tree as the second session shows it.
void merge(Folder& tree, const Folder& later) {
  for (const PlannedFile& f : later.files) {
    const auto at = std::ranges::find(tree.files, f.name, &PlannedFile::name);
    if (at != tree.files.end()) {
      *at = f;
    } else {
      tree.files.push_back(f);
    }
  }
  for (const Folder& sub : later.folders) {
    auto at = std::ranges::find(tree.folders, sub.name, &Folder::name);
    if (at == tree.folders.end()) {
      tree.folders.push_back({});
      at = tree.folders.end() - 1;
      at->name = sub.name;
    }
    merge(*at, sub);
  }
}

/// Files of both states: those that were replaced are superseded, those that replace are named in the later one only.
std::vector<TaggedFile> both_states(const Folder& earlier, const Folder& now, std::uint64_t later_lba) {
  std::vector<TaggedFile> files = list_files(now);
  std::set<std::uint32_t> current;
  for (const TaggedFile& f : files) current.insert(f.number);
  for (TaggedFile& f : files) {
    if (f.number >= kReplacing) f.named_from_lba = later_lba;
  }
  for (TaggedFile& f : list_files(earlier)) {
    if (current.contains(f.number)) continue;
    f.superseded = true;
    files.push_back(std::move(f));
  }
  return files;
}

bool has_tool(const std::string& tool, std::string& why_not) {
  if (run_process({"/bin/sh", "-c", "command -v " + tool}).status == 0) return true;
  why_not = tool + " is missing (tools/setup test installs it)";
  return false;
}

// --- By authoring tools

std::optional<AuthoredDisc> by_genisoimage(const std::string& options, const PlanOptions& plan, std::string& why_not) {
  if (!has_tool("genisoimage", why_not)) return std::nullopt;
  const ScratchFolder tree;
  const Folder root = plan_tree(plan);
  write_tree(root, tree.path());
  AuthoredDisc disc;
  disc.bytes = genisoimage(tree.path(), options);
  disc.files = list_files(root);
  if (disc.bytes.empty()) why_not = "genisoimage failed";
  return disc.bytes.empty() ? std::nullopt : std::optional(std::move(disc));
}

std::optional<AuthoredDisc> by_xorriso(const std::string& options, const PlanOptions& plan, std::string& why_not) {
  if (!has_tool("xorriso", why_not)) return std::nullopt;
  const ScratchFolder work;
  const Folder root = plan_tree(plan);
  write_tree(root, work / "tree");
  if (!run_command(work.path(), "xorriso -as mkisofs -quiet " + options + " -o image.iso tree")) {
    why_not = "xorriso failed";
    return std::nullopt;
  }
  AuthoredDisc disc;
  disc.bytes = read_file(work / "image.iso");
  disc.files = list_files(root);
  return disc;
}

std::optional<AuthoredDisc> two_sessions(const PlanOptions& plan, std::string& why_not) {
  if (!has_tool("genisoimage", why_not)) return std::nullopt;
  const ScratchFolder work;
  Folder root = plan_tree(plan);
  std::uint32_t added = 0;
  const Folder later = later_tree(root, added);
  write_tree(root, work / "first");
  write_tree(later, work / "second");
  AuthoredDisc disc;
  const std::string tool = "genisoimage -quiet -input-charset utf-8 -R -J ";
  if (!run_command(work.path(), tool + "-o first.iso first")) return std::nullopt;
  disc.bytes = read_file(work / "first.iso");
  disc.last_session_lba = (disc.sectors() + 15) / 16 * 16;
  if (!run_command(work.path(),
                   fmt::format("{} -C 0,{} -M first.iso -o second.iso second", tool, disc.last_session_lba))) {
    why_not = "genisoimage failed";
    return std::nullopt;
  }
  disc.bytes.resize(disc.last_session_lba * 2048);
  const std::vector<std::uint8_t> second = read_file(work / "second.iso");
  disc.bytes.insert(disc.bytes.end(), second.begin(), second.end());
  Folder now = root;
  merge(now, later);
  disc.files = both_states(root, now, disc.last_session_lba);
  return disc;
}

// --- Byte by byte

UdfNode udf_tree(const Folder& folder, const std::function<void(UdfNode&, const PlannedFile&)>& change) {
  UdfNode node = udf_directory(folder.name);
  for (const PlannedFile& f : folder.files) {
    UdfNode file = udf_file(f.name, tagged_content(f.number, f.bytes));
    change(file, f);
    node.children.push_back(std::move(file));
  }
  for (const Folder& sub : folder.folders) node.children.push_back(udf_tree(sub, change));
  return node;
}

/// Most files in one extent, some in pieces with descriptors in extents of their own.
void cut_some(UdfNode& node, const PlannedFile& f) {
  if (f.number % 6 != 0) return;
  node.fragment_blocks = 2;
  if (f.bytes > 10 * 2048 && f.number % 12 == 0) {
    node.ads_in_icb = 4;
    node.ads_in_aed = 5;
  }
}

AuthoredDisc built_udf(const PlanOptions& plan, UdfOptions options) {
  const Folder root = plan_tree(plan);
  AuthoredDisc disc;
  disc.files = list_files(root);
  if (options.vat) {  // with an earlier generation, some of whose files were replaced
    std::uint32_t added = 0;
    Folder now = root;
    merge(now, later_tree(root, added));
    disc.files = both_states(root, now, 0);
    options.older_generations = {udf_tree(root, cut_some)};
    UdfImage image = build_udf(udf_tree(now, cut_some), options);
    disc.bytes = std::move(image.bytes);
    disc.udf_structures = std::move(image.structures);
    return disc;
  }
  UdfImage image = build_udf(udf_tree(root, cut_some), options);
  disc.bytes = std::move(image.bytes);
  disc.udf_structures = std::move(image.structures);
  return disc;
}

IsoNode iso_tree(const Folder& folder) {
  IsoNode node = iso_directory("");
  for (const PlannedFile& f : folder.files) {
    IsoNode file = iso_file(fmt::format("F{:05}_N.BIN;1", f.number), tagged_content(f.number, f.bytes));
    file.joliet_id = ucs2(f.name);
    node.children.push_back(std::move(file));
  }
  for (const Folder& sub : folder.folders) {
    IsoNode directory = iso_tree(sub);
    directory.id = "D" + token_of(sub.name).substr(1) + "_NAM";
    directory.joliet_id = ucs2(sub.name);
    node.children.push_back(std::move(directory));
  }
  std::ranges::sort(node.children, {}, &IsoNode::id);
  return node;
}

/// ISO 9660 with Joliet, and UDF 1.02, over the same extents.
AuthoredDisc built_bridge(const PlanOptions& plan) {
  const Folder root = plan_tree(plan);
  IsoNode iso_root = iso_tree(root);
  // The volume structures of UDF lie in a file of zeros, where ISO 9660 sees them as that file's.
  iso_root.children.insert(iso_root.children.begin(), iso_file("A_ROOM.;1", std::string(400 * 2048, '\0')));
  IsoOptions iso_options;
  iso_options.joliet_escape = "%/E";
  const IsoImage iso = build_iso(std::move(iso_root), iso_options);
  std::map<std::string, std::uint64_t> extents;  // by token
  for (const auto& [path, place] : iso.primary) extents[token_of(path.substr(path.rfind('/') + 1))] = place.extent;

  UdfOptions options;
  options.revision = 0x0102;
  options.base = iso.bytes;
  options.main_at = 258;  // behind the anchor at 256; all sequences take 80 blocks
  options.partition_at = 338;
  const UdfImage image = build_udf(udf_tree(root,
                                            [&](UdfNode& node, const PlannedFile& f) {
                                              node.ads = UdfAds::kShort;
                                              node.at_block = extents.at(token_of(f.name)) / 2048;
                                            }),
                                   options);
  AuthoredDisc disc;
  disc.bytes = image.bytes;
  disc.udf_structures = image.structures;
  disc.files = list_files(root);
  return disc;
}

UdfOptions of_revision(std::uint16_t revision) {
  UdfOptions o;
  o.revision = revision;
  return o;
}

using Make = std::function<std::optional<AuthoredDisc>(PlanOptions, std::string&)>;

const std::vector<std::pair<std::string, Make>>& makers() {
  static const auto g = [](std::string options, bool latin_only = false, bool deep = false) {
    return [=](PlanOptions plan, std::string& why_not) {
      plan.latin_only = latin_only;
      plan.deep = deep;
      return by_genisoimage(options, plan, why_not);
    };
  };
  static const auto udf = [](const UdfOptions& options) {
    return [options](const PlanOptions& plan, std::string&) { return std::optional(built_udf(plan, options)); };
  };
  static const std::vector<std::pair<std::string, Make>> all = [] {
    UdfOptions vat = of_revision(0x0150);
    vat.vat = true;
    vat.anchors = {256, -257};
    UdfOptions metadata = of_revision(0x0250);
    metadata.metadata = true;
    UdfOptions sparable = of_revision(0x0201);
    sparable.sparable = true;
    sparable.relocated_packets = {1, 3, 7};
    return std::vector<std::pair<std::string, Make>>{
        {"iso-level1", g("-iso-level 1")},
        {"iso-level3", g("-iso-level 3")},
        {"joliet", g("-J")},
        {"rock", g("-R")},
        {"rock-joliet", g("-R -J")},
        {"rock-joliet-x", [](const PlanOptions& plan, std::string& w) { return by_xorriso("-J", plan, w); }},
        {"enhanced", g("-iso-level 4 -input-charset iso8859-1", true)},
        {"deep", g("-R -J", false, true)},
        {"multi-session", [](const PlanOptions& plan, std::string& w) { return two_sessions(plan, w); }},
        {"bridge",
         [](const PlanOptions& plan, std::string& w) {
           auto disc = by_genisoimage("-udf -R -J", plan, w);
           if (disc) disc->partition_lba = 257;  // what genisoimage makes, by looking at its images
           return disc;
         }},
        {"bridge-built", [](const PlanOptions& plan, std::string&) { return std::optional(built_bridge(plan)); }},
        {"udf-1.02", udf(of_revision(0x0102))},
        {"udf-1.50-vat", udf(vat)},
        {"udf-2.01", udf(of_revision(0x0201))},
        {"udf-2.01-sparable", udf(sparable)},
        {"udf-2.50-metadata", udf(metadata)},
    };
  }();
  return all;
}

}  // namespace

const std::vector<std::string>& disc_kinds() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> all;
    for (const auto& [name, make] : makers()) all.push_back(name);
    return all;
  }();
  return names;
}

std::optional<AuthoredDisc> author_disc(std::string_view kind, std::uint32_t files, std::string& why_not) {
  for (const auto& [name, make] : makers()) {
    if (name != kind) continue;
    PlanOptions plan;
    plan.files = files;
    auto disc = make(plan, why_not);
    if (disc) disc->name = name;
    return disc;
  }
  why_not = "no such kind of disc";
  return std::nullopt;
}

std::string token_of(std::string_view name) {
  const std::size_t digits = name.empty() ? 0 : (name[0] | 32) == 'f' ? 5 : (name[0] | 32) == 'd' ? 3 : 0;
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  if (digits == 0 || name.size() <= digits || !std::ranges::all_of(name.substr(1, digits), is_digit)) {
    return std::string(name);
  }
  std::string token(name.substr(0, digits + 1));
  token[0] = static_cast<char>(token[0] | 32);
  return token;
}

}  // namespace lacuna::test
