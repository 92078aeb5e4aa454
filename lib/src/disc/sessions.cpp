// SPDX-License-Identifier: GPL-3.0-or-later
#include "disc/sessions.h"

#include <fmt/format.h>

#include <algorithm>
#include <span>

#include "disc/orphans.h"
#include "disc/supplement.h"
#include "disc/unite.h"

namespace lacuna {
namespace {

std::pair<std::uint64_t, std::uint64_t> key_of(const SessionPart& part) { return {part.start_lba, part.state}; }

template <class T>
void move_renumbered(std::vector<T>& to, std::vector<T>& from, std::span<const NodeId> ids) {
  for (T& x : from) {
    if (!ids.empty() && x.node != kNoNode) x.node = ids[x.node];
    to.push_back(std::move(x));
  }
}

using Parts = std::span<std::unique_ptr<SessionPart>>;

Error missing_view(const Image& image, View wanted, Parts parts) {
  std::string has;
  for (const auto& part : parts) {
    for (const View v : part->views()) has += (has.empty() ? "" : ", ") + std::string(to_string(v));
  }
  return {ErrorCode::kUsage, fmt::format("{}: the session has no {} view; it has: {}", image.name(), to_string(wanted),
                                         has.empty() ? "none" : has)};
}

/// Joins `other` to `base`.
void unite_parts(SessionTree& base, SessionTree& other) {
  const UniteResult united = unite(base.tree, other.tree, base.findings);
  take_over(base.structures, other.structures, united.base_ids);
  take_over(base.lost_directories, other.lost_directories, united.base_ids);
  base.best = std::min(base.best, other.best);
  base.findings.add(other.findings);
  choose_views(base.tree, base.best);
}

/// The tree of one session; nothing when none of its parts has one.
Result<std::unique_ptr<SessionTree>> read_session(const Image& image, const DiscOptions& options, Parts parts) {
  std::unique_ptr<SessionTree> session;
  for (const auto& part : parts) {
    Result<std::unique_ptr<SessionTree>> read = part->read();
    if (!read) return read.error();
    if (!*read) continue;
    if (session) {
      unite_parts(*session, **read);
    } else {
      session = std::move(*read);
    }
  }
  if (session) drop_empty_orphans(session->tree);
  if (!session && options.view) return missing_view(image, *options.view, parts);
  return session;
}

/// Copies a tree below a node of another; gives the new ids.
std::vector<NodeId> graft(Tree& to, NodeId under, const Tree& from) {
  std::vector<NodeId> ids(from.size(), kNoNode);
  ids[kRoot] = under;
  for (const NodeId id : from.parents_first()) ids[id] = copy_node(to, ids[from.node(id).parent], from, id);
  return ids;
}

/// Puts the session's tree below a folder of its own; gives the new ids.
std::vector<NodeId> graft_session(Tree& to, std::uint32_t number, const SessionTree& session) {
  const Node& root = session.tree.node(kRoot);
  Node folder;
  folder.kind = NodeKind::kDirectory;
  folder.view = session.best;
  folder.modified = root.modified;
  folder.flags = root.flags;
  folder.names[static_cast<std::size_t>(folder.view)] = to.add_text(fmt::format("session-{}", number));
  return graft(to, to.add_child(kRoot, folder), session.tree);
}

void take(DiscBuilder& builder, const DiscOptions& options, std::uint32_t number, SessionTree& session) {
  std::vector<NodeId> ids;
  if (options.all_sessions) {
    ids = graft_session(builder.tree(), number, session);
  } else {
    builder.tree() = std::move(session.tree);
  }
  take_over(builder.structures(), session.structures, ids);
  take_over(builder.lost_directories(), session.lost_directories, ids);
  builder.findings().add(session.findings);
}

/// What the directories of `session` have lost, from the sessions before it, the newest first.
Result<Done> supplement_from(const Image& image, const DiscOptions& options, std::span<const Parts> before,
                             SessionTree& session) {
  for (std::size_t i = before.size(); i-- > 0 && !session.lost_directories.empty();) {
    const SessionPart& part = *before[i].front();
    // What a rewritable disc held before is another volume's, not this one's past.
    if (part.source == SessionSource::kScan && part.state != SessionPart::kCurrent) continue;
    const auto earlier = read_session(image, options, before[i]);
    if (!earlier) {
      if (earlier.error().code == ErrorCode::kUsage) continue;  // not in this view
      return earlier.error();
    }
    if (*earlier) supplement(session, **earlier, static_cast<std::uint32_t>(i + 1));
  }
  return Done{};
}

}  // namespace

void take_over(std::vector<Structure>& structures, std::vector<Structure>& more, std::span<const NodeId> ids) {
  move_renumbered(structures, more, ids);
}

void take_over(std::vector<LostDirectory>& lost, std::vector<LostDirectory>& more, std::span<const NodeId> ids) {
  move_renumbered(lost, more, ids);
}

Result<bool> read_sessions(DiscBuilder& builder, const DiscOptions& options, SessionParts parts) {
  std::stable_sort(parts.begin(), parts.end(), [](const auto& a, const auto& b) { return key_of(*a) < key_of(*b); });
  std::vector<Parts> sessions;
  for (std::size_t at = 0; at < parts.size();) {
    std::size_t end = at + 1;
    while (end < parts.size() && key_of(*parts[end]) == key_of(*parts[at])) ++end;
    sessions.push_back(Parts(parts).subspan(at, end - at));
    at = end;
  }
  if (sessions.empty()) return false;
  if (options.session && (*options.session == 0 || *options.session > sessions.size())) {
    return Error{ErrorCode::kUsage, fmt::format("{}: there is no session {}; {} found", builder.image().name(),
                                                *options.session, sessions.size())};
  }
  const std::size_t chosen = options.session ? *options.session - 1 : sessions.size() - 1;
  bool any = false;
  for (std::size_t i = 0; i < sessions.size(); ++i) {
    Session session{
        static_cast<std::uint32_t>(i + 1), sessions[i].front()->start_lba, sessions[i].front()->source, {}, false};
    if (options.all_sessions || i == chosen) {
      auto read = read_session(builder.image(), options, sessions[i]);
      if (!read) return read.error();
      if (*read && !options.all_sessions) {
        const auto added = supplement_from(builder.image(), options, std::span<const Parts>(sessions).first(i), **read);
        if (!added) return added.error();
      }
      session.in_tree = *read != nullptr;
      if (session.in_tree) take(builder, options, session.number, **read);
      any |= session.in_tree;
    }
    for (const auto& part : sessions[i]) {
      std::move(part->volumes.begin(), part->volumes.end(), std::back_inserter(session.volumes));
    }
    builder.sessions().push_back(std::move(session));
  }
  return any;
}

}  // namespace lacuna
