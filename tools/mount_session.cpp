// SPDX-License-Identifier: GPL-3.0-or-later
// Answers of a file system that never changes: the kernel may keep every name and attribute for good.
#define FUSE_USE_VERSION 312
#include "mount_session.h"

#include <fmt/format.h>
#include <fuse_lowlevel.h>

#include <array>
#include <cerrno>
#include <csignal>
#include <cstdarg>
#include <cstdio>
#include <cstring>
#include <new>
#include <utility>

#include "command.h"

namespace lacuna::tool {
namespace {

constexpr double kForGood = 1e9;  // seconds
constexpr std::size_t kLargestRead = std::size_t{1} << 20;

const MountedDisc& disc_of(fuse_req_t request) { return *static_cast<const MountedDisc*>(fuse_req_userdata(request)); }
constexpr fuse_ino_t inode_of(NodeId id) { return fuse_ino_t{id} + FUSE_ROOT_ID; }

/// Runs an answer; what it throws becomes an errno. `f` gives 0 once it has answered, or the errno to answer with.
template <class F>
void answer(fuse_req_t request, fuse_ino_t inode, F&& f) noexcept {
  int error = EIO;
  try {
    const MountedDisc& disc = disc_of(request);
    if (inode < FUSE_ROOT_ID || inode - FUSE_ROOT_ID > kNoNode ||
        !disc.has(static_cast<NodeId>(inode - FUSE_ROOT_ID))) {
      error = ENOENT;
    } else {
      error = f(disc, static_cast<NodeId>(inode - FUSE_ROOT_ID));
    }
  } catch (const std::bad_alloc&) {
    error = ENOMEM;
  } catch (...) {
    error = EIO;
  }
  if (error != 0) fuse_reply_err(request, error);
}

fuse_entry_param entry_of(const MountedDisc& disc, NodeId id) {
  fuse_entry_param entry{};
  entry.ino = inode_of(id);
  entry.attr = disc.attributes(id);
  entry.attr_timeout = entry.entry_timeout = kForGood;
  return entry;
}

void init(void*, fuse_conn_info* connection) { connection->want |= connection->capable & FUSE_CAP_CACHE_SYMLINKS; }

void lookup(fuse_req_t request, fuse_ino_t parent, const char* name) {
  answer(request, parent, [&](const MountedDisc& disc, NodeId folder) {
    fuse_entry_param entry{};
    entry.entry_timeout = kForGood;  // Also of names that are not there.
    if (const auto id = disc.child(folder, name)) entry = entry_of(disc, *id);
    fuse_reply_entry(request, &entry);
    return 0;
  });
}

void getattr(fuse_req_t request, fuse_ino_t inode, fuse_file_info*) {
  answer(request, inode, [&](const MountedDisc& disc, NodeId id) {
    const struct stat attributes = disc.attributes(id);
    fuse_reply_attr(request, &attributes, kForGood);
    return 0;
  });
}

void readlink(fuse_req_t request, fuse_ino_t inode) {
  answer(request, inode, [&](const MountedDisc& disc, NodeId id) {
    const std::string target = disc.symlink_target(id);
    if (target.empty()) return EIO;  // What the disc says of it is lost.
    fuse_reply_readlink(request, target.c_str());
    return 0;
  });
}

void open(fuse_req_t request, fuse_ino_t inode, fuse_file_info* info) {
  answer(request, inode, [&](const MountedDisc& disc, NodeId id) {
    if (disc.node(id).kind != NodeKind::kFile) return EINVAL;
    if ((info->flags & O_ACCMODE) != O_RDONLY) return EROFS;
    auto file = std::make_unique<MountedFile>(disc.disc(), id, disc.state(id));
    info->fh = reinterpret_cast<std::uintptr_t>(file.get());
    // The kernel's cache holds whole pages; around it, a read ends at the very byte that is missing.
    info->direct_io = disc.has_gaps(id);
    info->keep_cache = !disc.has_gaps(id);
    if (fuse_reply_open(request, info) == 0) static_cast<void>(file.release());
    return 0;
  });
}

void release(fuse_req_t request, fuse_ino_t, fuse_file_info* info) {
  delete reinterpret_cast<MountedFile*>(info->fh);
  fuse_reply_err(request, 0);
}

void read(fuse_req_t request, fuse_ino_t inode, std::size_t bytes, off_t offset, fuse_file_info* info) {
  answer(request, inode, [&](const MountedDisc&, NodeId) {
    thread_local std::vector<std::uint8_t> buffer;
    buffer.resize(std::min(bytes, kLargestRead));
    // A read that fills pages of the kernel's cache (mmap, whole files) names no owner. A short answer to it would be
    // filled up with zeros, which nobody read from the disc.
    const bool fills_pages = info->lock_owner == 0;
    const MountedFile::Got got =
        reinterpret_cast<MountedFile*>(info->fh)->read(static_cast<std::uint64_t>(offset), buffer, fills_pages);
    if (got.error != 0) return got.error;
    fuse_reply_buf(request, reinterpret_cast<const char*>(buffer.data()), got.bytes);
    return 0;
  });
}

/// Entries from `next` on, as many as fit: ".", "..", and the children. `add(buffer, room, name, id, next)` puts one in
/// and gives the bytes that it takes or would take.
template <class Add>
void list(fuse_req_t request, fuse_ino_t inode, std::size_t bytes, off_t next, Add&& add) {
  answer(request, inode, [&](const MountedDisc& disc, NodeId folder) {
    if (!disc.node(folder).is_directory()) return ENOTDIR;
    std::vector<char> buffer(std::min(bytes, kLargestRead));
    std::size_t used = 0;
    const auto put = [&](std::string_view name, NodeId id) {
      const std::size_t size = add(disc, buffer.data() + used, buffer.size() - used, std::string(name), id, ++next);
      if (size > buffer.size() - used) return false;
      used += size;
      return true;
    };
    bool fits = next != 0 || put(".", folder);
    if (fits && next == 1) fits = put("..", disc.parent(folder));
    const std::span<const NodeId> children = disc.children(folder);
    for (auto i = static_cast<std::size_t>(next) - 2; fits && i < children.size(); ++i) {
      fits = put(disc.name(children[i]), children[i]);
    }
    fuse_reply_buf(request, buffer.data(), used);
    return 0;
  });
}

void readdir(fuse_req_t request, fuse_ino_t inode, std::size_t bytes, off_t next, fuse_file_info*) {
  list(request, inode, bytes, next,
       [&](const MountedDisc& disc, char* to, std::size_t room, const std::string& name, NodeId id, off_t after) {
         struct stat attributes {};
         attributes.st_ino = inode_of(id);
         attributes.st_mode = disc.attributes(id).st_mode;
         return fuse_add_direntry(request, to, room, name.c_str(), &attributes, after);
       });
}

void readdirplus(fuse_req_t request, fuse_ino_t inode, std::size_t bytes, off_t next, fuse_file_info*) {
  list(request, inode, bytes, next,
       [&](const MountedDisc& disc, char* to, std::size_t room, const std::string& name, NodeId id, off_t after) {
         const fuse_entry_param entry = entry_of(disc, id);
         return fuse_add_direntry_plus(request, to, room, name.c_str(), &entry, after);
       });
}

void statfs(fuse_req_t request, fuse_ino_t inode) {
  answer(request, inode, [&](const MountedDisc& disc, NodeId) {
    const Image& image = disc.disc().image();
    struct statvfs facts {};
    facts.f_bsize = facts.f_frsize = kSectorBytes;
    facts.f_blocks = image.end_lba() - image.first_lba();
    facts.f_files = disc.disc().tree().size();
    facts.f_namemax = 255;
    facts.f_flag = ST_RDONLY;
    fuse_reply_statfs(request, &facts);
    return 0;
  });
}

/// Answers with a value, or with its size when no room is given.
void reply_value(fuse_req_t request, std::string_view value, std::size_t room) {
  if (room == 0) {
    fuse_reply_xattr(request, value.size());
  } else if (value.size() > room) {
    fuse_reply_err(request, ERANGE);
  } else {
    fuse_reply_buf(request, value.data(), value.size());
  }
}

void getxattr(fuse_req_t request, fuse_ino_t inode, const char* name, std::size_t room) {
  answer(request, inode, [&](const MountedDisc& disc, NodeId id) {
    const auto value = disc.attribute(id, name);
    if (!value) return ENODATA;
    reply_value(request, *value, room);
    return 0;
  });
}

void listxattr(fuse_req_t request, fuse_ino_t inode, std::size_t room) {
  answer(request, inode, [&](const MountedDisc& disc, NodeId id) {
    std::string names;
    for (const std::string_view name : disc.attribute_names(id)) names.append(name).push_back('\0');
    reply_value(request, names, room);
    return 0;
  });
}

constexpr fuse_lowlevel_ops operations() {
  fuse_lowlevel_ops ops{};
  ops.init = init;
  ops.lookup = lookup;
  ops.getattr = getattr;
  ops.readlink = readlink;
  ops.open = open;
  ops.read = read;
  ops.release = release;
  ops.readdir = readdir;
  ops.readdirplus = readdirplus;
  ops.statfs = statfs;
  ops.getxattr = getxattr;
  ops.listxattr = listxattr;
  return ops;
}

// What libfuse has to say goes where everything else does. Mounting is for one thread.
std::string last_words;
void hear(fuse_log_level, const char* format, va_list arguments) {
  std::array<char, 512> line{};
  std::vsnprintf(line.data(), line.size(), format, arguments);
  last_words += line.data();
}

/// As an option of a mount, where commas and backslashes have a meaning.
std::string plain(std::string text) {
  for (char& c : text) {
    if (c == ',' || c == '\\' || static_cast<unsigned char>(c) < 0x20) c = '_';
  }
  return text;
}

}  // namespace

struct MountSession::Impl {
  fuse_session* session = nullptr;
  bool mounted = false;
  bool handles_signals = false;

  ~Impl() {
    if (handles_signals) fuse_remove_signal_handlers(session);
    if (mounted) fuse_session_unmount(session);
    if (session != nullptr) fuse_session_destroy(session);
  }
};

MountSession::MountSession(const MountedDisc& disc, const std::string& folder, const MountOptions& options)
    : impl_(std::make_unique<Impl>()) {
  fuse_set_log_func(hear);
  std::string program = "lacuna", flag = "-o";
  // Old programs are looked at here, never run.
  std::string words = fmt::format("ro,nosuid,nodev,noexec,default_permissions,subtype=lacuna,fsname={}{}",
                                  plain(options.source), options.all_users ? ",allow_other" : "");
  std::array<char*, 3> argv{program.data(), flag.data(), words.data()};
  fuse_args args = FUSE_ARGS_INIT(static_cast<int>(argv.size()), argv.data());
  static constexpr fuse_lowlevel_ops ops = operations();
  const auto trouble = [&](std::string_view what) {
    while (!last_words.empty() && last_words.back() == '\n') last_words.pop_back();
    return Failure{kUnwritable, fmt::format("{}: {}{}{}", folder, what, last_words.empty() ? "" : ": ", last_words)};
  };
  impl_->session = fuse_session_new(&args, &ops, sizeof ops, const_cast<MountedDisc*>(&disc));
  fuse_opt_free_args(&args);
  if (impl_->session == nullptr) throw trouble("cannot be mounted");
  if (fuse_session_mount(impl_->session, folder.c_str()) != 0) {
    throw trouble("cannot be mounted; is fuse3 installed, and is /dev/fuse there and open to you?");
  }
  impl_->mounted = true;
}

MountSession::~MountSession() = default;

void MountSession::to_background() {
  if (fuse_daemonize(0) != 0) throw Failure{kUnwritable, "cannot go to the background"};
}

void MountSession::serve() {
  // libfuse takes over only what has its usual effect.
  for (const int number : {SIGINT, SIGTERM, SIGHUP}) std::signal(number, SIG_DFL);
  if (fuse_set_signal_handlers(impl_->session) != 0) throw Failure{kUnwritable, "cannot catch signals"};
  impl_->handles_signals = true;
  fuse_loop_config* config = fuse_loop_cfg_create();
  if (config == nullptr) throw std::bad_alloc();
  const int ended = fuse_session_loop_mt(impl_->session, config);
  fuse_loop_cfg_destroy(config);
  if (ended < 0) throw Failure{kUnwritable, fmt::format("the mount ended early: {}", std::strerror(-ended))};
}

}  // namespace lacuna::tool
