// SPDX-License-Identifier: GPL-3.0-or-later
// "lacuna/files/1": one object a file, each on its own line, in JSON too.
#include "disc/raw_content.h"
#include "report/files.h"
#include "report/json.h"
#include "report/walk.h"

namespace lacuna::report {
namespace {

class FilesJson final : public FilesForm {
 public:
  FilesJson(const Listing& listing, Out& out, bool lines)
      : listing_(listing), out_(out), lines_(lines), head_(out), item_(out), session_of_(listing.disc) {}

  void begin() override {
    head_.open_object();
    head_.put("schema", "lacuna/files/1");
    put_image(head_, listing_.disc, listing_.verdicts, listing_.context);
    open_summary(head_, listing_.disc, listing_.verdicts);
    head_.close_object();
    if (lines_) {
      head_.close_object();
      out_.add('\n');
    } else {
      head_.open_array("files");
    }
  }

  void file(NodeId id, const Node& n, std::string_view path) override {
    if (!lines_) out_.add(first_ ? "\n" : ",\n");
    first_ = false;
    item_.restart();
    put_file(id, n, path);
    if (lines_) out_.add('\n');
  }

  void end(const ListingTotals&) override {
    if (lines_) return;
    out_.add('\n');
    head_.close_array();
    head_.close_object();
    out_.add('\n');
  }

 private:
  void put_file(NodeId id, const Node& n, std::string_view path) {
    const Tree& tree = listing_.disc.tree();
    const Verdict& v = listing_.verdicts.of(id);
    item_.open_object();
    item_.put("path", path);
    item_.put("kind", to_string(n.kind));
    item_.put("size", n.size);
    item_.put("state", to_string(v.state));
    item_.put("missing_bytes", v.missing_bytes);
    put_gaps(v);
    n.has(node_flag::kRawSectors) ? put_raw_extents(n) : put_extents(n);
    item_.put("view", to_string(n.view));
    item_.name("session");
    if (const std::uint32_t session = session_of_(path); session != 0) {
      item_.value(session);
    } else {
      item_.null();
    }
    item_.put("evidence", to_string(n.evidence));
    item_.put("basis", to_string(v.basis));
    item_.put("modified", n.modified);
    item_.open_array("doubts");
    for (const std::string& doubt : doubts_of(listing_, id)) item_.value(doubt);
    item_.close_array();
    put_names(tree, n);
    if (n.details != 0) put_details(tree, tree.details(n));
    if (const RawContent* raw = tree.raw_content(id); raw != nullptr) put_raw_content(*raw);
    if (n.version != 0) item_.put("version", std::uint32_t{n.version});
    if (n.has(node_flag::kHidden)) item_.put("hidden", true);
    if (n.has(node_flag::kAssociated)) item_.put("associated", true);
    if (n.has(node_flag::kSizeGuessed)) item_.put("size_guessed", true);
    if (n.has(node_flag::kDeleted)) item_.put("deleted", true);
    if (n.has(node_flag::kStream)) item_.put("stream", true);
    if (n.has(node_flag::kSystem)) item_.put("system", true);
    item_.close_object();
  }

  void put_gaps(const Verdict& v) {
    const std::span<const Gap> gaps = listing_.verdicts.gaps(v);
    bool suspect = false;
    item_.open_array("gaps");
    for (const Gap& g : gaps) has_bytes(g.state) ? static_cast<void>(suspect = true) : put_gap(g);
    item_.close_array();
    if (!suspect) return;
    item_.open_array("suspect");
    for (const Gap& g : gaps) {
      if (has_bytes(g.state)) put_gap(g);
    }
    item_.close_array();
  }

  void put_gap(const Gap& g) {
    item_.open_object();
    item_.put("offset", g.offset);
    item_.put("length", g.length);
    item_.put("state", to_string(g.state));
    item_.close_object();
  }

  void put_extents(const Node& n) {
    item_.open_array("extents");
    std::uint64_t offset = 0;
    for (const Extent& e : listing_.disc.tree().extents(n)) {
      item_.open_object();
      item_.put("offset", offset);
      put_place(item_, e.position);
      item_.put("bytes", e.bytes);
      if (e.unit_bytes != 0 && e.gap_bytes != 0) {
        item_.put("unit", e.unit_bytes);
        item_.put("gap", e.gap_bytes);
      }
      item_.close_object();
      offset += e.bytes;
    }
    item_.close_array();
  }

  /// Of content that is whole sectors: offsets and bytes count the content's own.
  void put_raw_extents(const Node& n) {
    item_.open_array("extents");
    std::uint64_t stored = 0;
    for (const Extent& e : listing_.disc.tree().extents(n)) {
      item_.open_object();
      item_.put("offset", raw_begin(stored));
      put_place(item_, e.position);
      item_.put("bytes", raw_bytes(e.bytes));
      if (e.unit_bytes != 0 && e.gap_bytes != 0) {
        item_.put("unit", raw_bytes(e.unit_bytes));
        item_.put("gap", raw_bytes(e.gap_bytes));
      }
      item_.put("raw_sectors", true);
      item_.close_object();
      stored += e.bytes;
    }
    item_.close_array();
  }

  void put_raw_content(const RawContent& raw) {
    if (raw.track) item_.put("track", *raw.track);
    item_.put_text("title", raw.title);
    item_.put_text("performer", raw.performer);
  }

  /// The names that other views give it, where they differ from the path's.
  void put_names(const Tree& tree, const Node& n) {
    const std::string_view own = tree.name(n);
    bool open = false;
    for (std::size_t i = 0; i < n.names.size(); ++i) {
      const std::string_view name = tree.text(n.names[i]);
      if (name.empty() || name == own) continue;
      if (!open) item_.open_object("names");
      open = true;
      item_.put(to_string(static_cast<View>(i)), name);
    }
    if (open) item_.close_object();
  }

  void put_details(const Tree& tree, const NodeDetails& d) {
    if (d.created.known) item_.put("created", d.created);
    if (d.mode) {
      item_.put("mode", *d.mode);
      item_.put("user", d.user);
      item_.put("group", d.group);
    }
    item_.put_text("target", tree.text(d.symlink_target));
    if (d.device != 0) item_.put("device", d.device);
    if (d.zisofs) item_.put("compressed", "zisofs");
    if (d.xa_attributes) item_.put("xa_attributes", std::uint32_t{*d.xa_attributes});
  }

  const Listing listing_;
  Out& out_;
  const bool lines_;
  Json head_, item_;
  const SessionOf session_of_;
  bool first_ = true;
};

}  // namespace

std::unique_ptr<FilesForm> files_as_json(const Listing& listing, Out& out, bool lines) {
  return std::make_unique<FilesJson>(listing, out, lines);
}

}  // namespace lacuna::report
