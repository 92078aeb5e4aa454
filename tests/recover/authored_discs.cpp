// SPDX-License-Identifier: GPL-3.0-or-later
#include "authored_discs.h"

#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <map>

#include "support/authoring.h"
#include "support/iso_builder.h"
#include "support/process.h"
#include "support/tagged_blocks.h"
#include "tree_plan.h"

namespace lacuna::test {
namespace {

constexpr std::uint32_t kForeign = 20000;  // numbers of files that are no part of the disc's tree

void write_tree(const Folder& folder, const std::filesystem::path& to) {
  std::filesystem::create_directories(to);
  for (const PlannedFile& f : folder.files) write_file(to / f.name, tagged_content(f.number, f.bytes));
  for (const Folder& sub : folder.folders) write_tree(sub, to / sub.name);
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
  const Folder later = later_tree(root);
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
  disc.files = list_files(root, now, disc.last_session_lba);
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
    Folder now = root;
    merge(now, later_tree(root));
    disc.files = list_files(root, now, 0);
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

/// A rewritable disc that was used twice: behind the end of its volume stands the rest of an earlier, larger one.
AuthoredDisc used_twice(PlanOptions plan) {
  AuthoredDisc disc = built_udf(plan, UdfOptions());
  plan.first_number = kForeign;
  plan.files *= 2;
  const AuthoredDisc earlier = built_udf(plan, UdfOptions());
  disc.bytes.insert(disc.bytes.end(), earlier.bytes.begin() + static_cast<std::ptrdiff_t>(disc.bytes.size()),
                    earlier.bytes.end());
  return disc;
}

/// Images of discs, stored as files: what is in them is no part of the disc.
std::optional<AuthoredDisc> with_stored_images(const PlanOptions& plan, std::string& why_not) {
  if (!has_tool("genisoimage", why_not)) return std::nullopt;
  const ScratchFolder work;
  const Folder root = plan_tree(plan);
  write_tree(root, work / "tree");
  PlanOptions inner = plan;
  inner.files = plan.files / 4;
  inner.first_number = kForeign;
  const auto save = [&](const std::string& name, const std::vector<std::uint8_t>& bytes) {
    write_file(work.path() / "tree" / name, std::string(bytes.begin(), bytes.end()));
  };
  const auto iso = by_genisoimage("-R -J", inner, why_not);
  if (!iso) return std::nullopt;
  save("stored.iso", iso->bytes);
  inner.first_number += 10000;
  save("stored.udf", built_udf(inner, UdfOptions()).bytes);
  AuthoredDisc disc;
  disc.bytes = genisoimage(work / "tree", "-R -J");
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
        {"stored-images", with_stored_images},
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
        {"udf-used-twice", [](const PlanOptions& plan, std::string&) { return std::optional(used_twice(plan)); }},
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

}  // namespace lacuna::test
