// SPDX-License-Identifier: GPL-3.0-or-later
// The end of a pull: manifest, checksums, tag files of a bag.
#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <tuple>
#include <unordered_set>

#include "base/bytes.h"
#include "salvage/bag.h"
#include "salvage/pull_record.h"
#include "salvage/target_names.h"

namespace lacuna {
namespace {

constexpr std::size_t kWriteBytes = 1 << 18;

}  // namespace

void PullRecord::merge(std::vector<Brief>& briefs) {
  if (earlier_.empty()) return;
  std::unordered_map<std::string_view, std::size_t> by_path;
  std::unordered_set<std::string_view> targets;  // of the files that are one path's own
  for (std::size_t i = 0; i < briefs.size(); ++i) {
    by_path.emplace(briefs[i].path, i);
    if (!briefs[i].target.empty() && !briefs[i].shared) targets.insert(briefs[i].target);
  }
  DirectoryCache directories(root_);
  const auto still_there = [&](const ManifestEntry& e) {
    const auto [parent, name] = split_path(e.target);
    Directory dir;
    std::optional<struct stat> st;
    return directories.open(parent, false, dir) == 0 && look_at(dir->get(), name, st) == 0 && st.has_value();
  };
  std::vector<bool> dropped(briefs.size());
  std::vector<ManifestEntry*> kept;
  for (ManifestEntry& e : earlier_) {
    const auto now = by_path.find(e.path);
    if (now != by_path.end()) {
      const Brief& b = briefs[now->second];
      const bool told_anew = e.shared ? !b.target.empty() && b.state <= e.state : targets.contains(e.target);
      if (!e.in_folder() || told_anew || !still_there(e)) continue;
      // An earlier reading of the disc got this file, and it still stands in the folder.
      // One that other images completed is none the worse for a pull without them.
      if (e.state == FileState::kWhole && b.state > FileState::kDoubtful && e.donors.empty()) {
        e.state = FileState::kDoubtful;
        e.doubts.push_back(fmt::format("an earlier pull found it whole, a later one {}", to_string(b.state)));
      }
      if (b.target.empty()) dropped[now->second] = true;
    } else if (e.in_folder() && !e.shared && targets.contains(e.target)) {
      continue;
    }
    kept.push_back(&e);
  }
  std::vector<Brief> merged;
  merged.reserve(briefs.size() + kept.size());
  for (std::size_t i = 0; i < briefs.size(); ++i) {
    if (!dropped[i]) merged.push_back(std::move(briefs[i]));
  }
  for (ManifestEntry* e : kept) {
    merged.push_back({e->path, e->target, e->state, e->outcome, e->shared, e->sums.sha256, e->gap_list,
                      e->gap_list_sha256, e->bytes_in_folder(),
                      kEarlier + static_cast<std::size_t>(e - earlier_.data())});
  }
  briefs = std::move(merged);
}

Result<Done> PullRecord::publish_text(const std::function<void(const TextSink&)>& produce, std::string_view path,
                                      std::string* sha256) {
  const auto [parent, name] = split_path(path);
  Directory dir;
  PartFile file;
  int error = DirectoryCache(root_).open(parent, true, dir);
  if (error == 0) error = file.create(dir, part_name());
  if (error != 0) return cannot_write(path, error);
  Hasher hasher;
  hasher.start();
  std::string pending;
  std::uint64_t written = 0;
  const auto flush = [&] {
    if (error == 0) error = file.write_at(written, as_bytes(pending));
    hasher.add(as_bytes(pending));
    written += pending.size();
    pending.clear();
  };
  produce([&](std::string_view text) {
    pending += text;
    if (pending.size() >= kWriteBytes) flush();
  });
  flush();
  if (error == 0) error = file.publish(name, true);
  if (error != 0) return cannot_write(path, error);
  if (sha256 != nullptr) *sha256 = hasher.finish().sha256;
  return Done{};
}

Result<Done> PullRecord::write_manifest(std::vector<Brief>& briefs, const MakeEntry& make, bool complete) {
  merge(briefs);
  std::sort(briefs.begin(), briefs.end(),
            [](const Brief& a, const Brief& b) { return std::tie(a.path, a.target) < std::tie(b.path, b.target); });
  ManifestHeader header = header_;
  header.schema = kManifestSchema;
  header.run.clear();
  header.record.clear();
  header.complete = complete;
  for (const Brief& b : briefs) {
    ++header.states[static_cast<std::size_t>(b.state)];
    ++header.outcomes[static_cast<std::size_t>(b.outcome)];
  }
  return publish_text(
      [&](const TextSink& write) {
        write(to_line(header) + '\n');
        for (const Brief& b : briefs) {
          write((b.index >= kEarlier ? to_line(earlier_[b.index - kEarlier]) : to_line(make(b.index))) + '\n');
        }
      },
      record_path_, nullptr);
}

std::vector<PullRecord::Sum> PullRecord::sums(const std::vector<Brief>& briefs) const {
  std::vector<Sum> out;
  for (const Brief& b : briefs) {
    if (!b.target.empty() && !b.sha256.empty()) out.push_back({b.target, b.sha256, nullptr, b.bytes});
    if (!b.gap_list.empty()) out.push_back({b.gap_list, b.gap_list_sha256, nullptr, std::nullopt});
  }
  stored_.for_each([&](const StoredFiles::File& f) {
    if (f.is_foreign) out.push_back({f.path, {}, &f, f.bytes});
  });
  // A file that several paths share is one.
  std::stable_sort(out.begin(), out.end(), [](const Sum& a, const Sum& b) { return a.path < b.path; });
  out.erase(std::unique(out.begin(), out.end(), [](const Sum& a, const Sum& b) { return a.path == b.path; }),
            out.end());
  return out;
}

Result<std::vector<std::pair<std::string, std::string>>> PullRecord::sum_manifests() const {
  std::vector<std::string> paths = manifests_;
  paths.push_back(record_path_);
  std::sort(paths.begin(), paths.end());
  std::vector<std::pair<std::string, std::string>> out;
  DirectoryCache directories(root_);
  std::vector<std::uint8_t> buffer(kWriteBytes);
  Hasher hasher;
  for (std::string& path : paths) {
    const auto [parent, name] = split_path(path);
    Directory dir;
    Fd file;
    int error = directories.open(parent, false, dir);
    if (error == 0) error = open_at(dir->get(), name, O_RDONLY | O_NONBLOCK, file);
    hasher.start();
    std::size_t got = buffer.size();
    for (std::uint64_t at = 0; error == 0 && got == buffer.size(); at += got) {
      error = read_fully_at(file.get(), at, buffer, got);
      hasher.add(std::span(buffer).first(got));
    }
    if (error != 0) return cannot_write(path, error);
    out.emplace_back(std::move(path), hasher.finish().sha256);
  }
  return out;
}

Result<PullRecord::Finished> PullRecord::finish(std::vector<Brief> briefs, const MakeEntry& make, bool complete,
                                                const std::vector<BagElement>& info) {
  if (const auto written = write_manifest(briefs, make, complete); !written) return written.error();
  auto tags = sum_manifests();
  if (!tags) return tags.error();
  const std::vector<Sum> files = sums(briefs);
  std::string sums_sha256;
  const auto written = publish_text(
      [&](const TextSink& write) {
        for (const Sum& s : files) write(sums_line(s.digits(), s.path));
        for (const auto& [name, sha256] : *tags) write(sums_line(sha256, name));
      },
      kSumsName, &sums_sha256);
  if (!written) return written.error();
  tags->emplace_back(kSumsName, std::move(sums_sha256));

  Finished finished;
  if (header_.layout.bag && complete) {
    const auto not_whole =
        std::count_if(briefs.begin(), briefs.end(), [](const Brief& b) { return b.state != FileState::kWhole; });
    const auto tagged = write_tag_files(files, std::move(*tags), info,
                                        foreign_not_whole_ + static_cast<std::uint64_t>(not_whole), finished);
    if (!tagged) return tagged.error();
  }
  ::unlinkat(root_->get(), std::string(kWorkName).c_str(), 0);
  // Last of all: with it, the bag is a complete one.
  if (finished.bag_closed) {
    const auto declared =
        publish_text([](const TextSink& write) { write(kBagDeclaration); }, kBagDeclarationName, nullptr);
    if (!declared) return declared.error();
  }
  return finished;
}

}  // namespace lacuna
