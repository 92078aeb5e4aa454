// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/manifest.h"

#include <fmt/format.h>
#include <rapidjson/document.h>
#include <rapidjson/error/en.h>
#include <rapidjson/stringbuffer.h>
#include <rapidjson/writer.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <filesystem>

#include "base/bytes.h"
#include "salvage/gaps.h"
#include "salvage/json_line.h"
#include "salvage/output_folder.h"

namespace lacuna {
namespace {

constexpr std::size_t kDigestDigits = 64;  // of a SHA-256

/// Text of a file that may be hostile, as a message shows it: on one line and not too long.
std::string quotable(std::string_view text) {
  constexpr std::size_t kMaxBytes = 200;
  std::string out(text.substr(0, kMaxBytes));
  for (char& c : out) {
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) c = '?';
  }
  return text.size() > kMaxBytes ? out + "..." : out;
}

// --- reading ---

/// Reads members of an object and keeps the first complaint.
class Fields {
 public:
  Fields(const rapidjson::Value& object, std::string& error) : object_(&object), error_(&error) {}

  bool ok() const { return error_->empty(); }
  const rapidjson::Value* find(const char* name) const {
    const auto it = object_->FindMember(name);
    return it == object_->MemberEnd() || it->value.IsNull() ? nullptr : &it->value;
  }
  std::string text(const char* name) {
    const rapidjson::Value* v = find(name);
    if (v == nullptr) return {};
    if (v->IsString()) return {v->GetString(), v->GetStringLength()};
    complain("'{}' is no text", name);
    return {};
  }
  std::string needed_text(const char* name) {
    std::string out = text(name);
    if (out.empty()) complain("'{}' is missing", name);
    return out;
  }
  std::uint64_t number(const char* name) {
    const rapidjson::Value* v = find(name);
    if (v == nullptr) return 0;
    if (v->IsUint64()) return v->GetUint64();
    complain("'{}' is no whole number", name);
    return 0;
  }
  bool flag(const char* name) {
    const rapidjson::Value* v = find(name);
    if (v == nullptr) return false;
    if (v->IsBool()) return v->GetBool();
    complain("'{}' is neither true nor false", name);
    return false;
  }
  std::vector<std::string> texts(const char* name) {
    std::vector<std::string> out;
    for_each(name, [&](const rapidjson::Value& v) {
      if (v.IsString()) {
        out.emplace_back(v.GetString(), v.GetStringLength());
      } else {
        complain("'{}' holds what is no text", name);
      }
    });
    return out;
  }
  template <class F>
  void for_each(const char* name, F&& f) {
    const rapidjson::Value* v = find(name);
    if (v == nullptr) return;
    if (!v->IsArray()) return complain("'{}' is no list", name);
    for (const rapidjson::Value& item : v->GetArray()) f(item);
  }
  /// The object of that name; an empty one stands for what is missing.
  Fields object(const char* name) {
    static const rapidjson::Value kEmpty(rapidjson::kObjectType);
    const rapidjson::Value* v = find(name);
    if (v == nullptr) return {kEmpty, *error_};
    if (v->IsObject()) return {*v, *error_};
    complain("'{}' is no object", name);
    return {kEmpty, *error_};
  }
  const rapidjson::Value& value() const { return *object_; }
  void complain(const char* what, std::string_view name) {
    if (error_->empty()) *error_ = fmt::format(fmt::runtime(what), quotable(name));
  }

 private:
  const rapidjson::Value* object_;
  std::string* error_;
};

bool parse_object(std::string_view line, rapidjson::Document& document, std::string& error) {
  // Iterative: a hostile line may nest as deep as it is long.
  document.Parse<rapidjson::kParseIterativeFlag | rapidjson::kParseValidateEncodingFlag>(line.data(), line.size());
  if (document.HasParseError()) {
    error = fmt::format("no JSON: {} (byte {})", rapidjson::GetParseError_En(document.GetParseError()),
                        document.GetErrorOffset());
    while (error.ends_with('.')) error.pop_back();
    return false;
  }
  if (!document.IsObject()) error = "no JSON object";
  return document.IsObject();
}

bool is_hex(std::string_view s, std::size_t digits) {
  return s.size() == digits && s.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

}  // namespace

std::string describe(const FolderLayout& layout) {
  std::string out;
  if (layout.bag) out += " --bag";
  if (layout.arrangement != Arrangement::kTree) out += fmt::format(" --arrange {}", to_string(layout.arrangement));
  if (layout.once) out += " --once";
  return out.empty() ? "none of --bag, --arrange and --once" : out.substr(1);
}

std::optional<PullOutcome> pull_outcome_from(std::string_view word) noexcept {
  for (int i = 0; i < kPullOutcomeCount; ++i) {
    if (to_string(static_cast<PullOutcome>(i)) == word) return static_cast<PullOutcome>(i);
  }
  return std::nullopt;
}

ImageIdentity identify(const Disc& disc) {
  const Image& image = disc.image();
  ImageIdentity id;
  id.name = std::filesystem::path(image.name()).filename().string();
  id.bytes = image.end_byte() - image.first_lba() * kSectorBytes;
  if (const Volume* volume = disc.main_volume(); volume != nullptr) {
    id.volume_id = volume->volume_id;
    id.volume_created = to_iso8601(volume->created);
    id.volume_bytes = volume->space_bytes;
  }
  Hasher hasher;
  hasher.start();
  bool any = false;
  for (const Structure& s : disc.structures()) {
    if (s.kind != StructureKind::kVolumeDescriptor) continue;
    std::array<std::uint8_t, kSectorBytes> sector{};
    SectorState state = SectorState::kBad;
    image.read(s.position / kSectorBytes, sector, std::span(&state, 1));
    if (!has_bytes(state)) continue;
    hasher.add(as_bytes(fmt::format("{}:", s.position)));
    hasher.add(sector);
    any = true;
  }
  if (any) id.descriptors_sha256 = hasher.finish().sha256;
  return id;
}

bool same_disc(const ImageIdentity& a, const ImageIdentity& b) {
  if (a.descriptors_sha256.empty() && b.descriptors_sha256.empty()) return a.name == b.name && a.bytes == b.bytes;
  if (a.descriptors_sha256 == b.descriptors_sha256) return true;
  return !a.volume_created.empty() && a.volume_created == b.volume_created && a.volume_id == b.volume_id &&
         a.volume_bytes == b.volume_bytes;
}

std::string to_line(const ManifestHeader& h) {
  LineWriter w;
  w.put("schema", h.schema);
  w.put("made_by", "lacuna " LACUNA_VERSION);
  w.put("made", h.made);
  w.put_text("run", h.run);
  w.put_text("record", h.record);
  w.open("image");
  w.put("name", h.image.name);
  w.put("bytes", h.image.bytes);
  w.put("volume_id", h.image.volume_id);
  w.put_text("volume_created", h.image.volume_created);
  w.put("volume_bytes", h.image.volume_bytes);
  w.put_text("descriptors_sha256", h.image.descriptors_sha256);
  w.close();
  w.put_text("session", h.session);
  w.put("basis", h.basis);
  w.put_flag("map", h.map);
  if (h.basis == to_string(Basis::kAssumed)) {
    w.put("note", "without a sector map, whole means only that nothing in the image speaks against a file");
  }
  w.put_flag("complete", h.complete);
  w.open("options");
  w.put_texts("only", h.only);
  w.put_flag("damaged", h.damaged);
  w.put_flag("skip_programs", h.skip_programs);
  w.put_flag("portable_names", h.portable_names);
  w.put_text("audio_format", h.audio_format);
  w.put_if("bag", h.layout.bag);
  if (h.layout.arrangement != Arrangement::kTree) w.put("arrange", to_string(h.layout.arrangement));
  w.put_if("once", h.layout.once);
  w.close();
  w.open("states");
  for (std::size_t i = 0; i < h.states.size(); ++i) w.put(to_string(static_cast<FileState>(i)), h.states[i]);
  w.close();
  w.open("outcomes");
  for (std::size_t i = 0; i < h.outcomes.size(); ++i) w.put(to_string(static_cast<PullOutcome>(i)), h.outcomes[i]);
  w.close();
  return w.finish();
}

std::string to_line(const ManifestEntry& e) {
  LineWriter w;
  w.put("path", e.path);
  w.put_text("target", e.target);
  w.put_if("shared", e.shared);
  if (!e.names.empty()) {
    w.open("names");
    for (const auto& [view, name] : e.names) w.put(view, name);
    w.close();
  }
  w.put("kind", e.kind);
  w.put("size", e.size);
  if (e.target_bytes) w.put("target_bytes", *e.target_bytes);
  w.put("state", to_string(e.state));
  w.put("basis", e.basis);
  w.put("evidence", e.evidence);
  w.put("outcome", to_string(e.outcome));
  w.put_text("why", e.why);
  w.put("missing_bytes", e.missing_bytes);
  if (!e.gaps.empty()) {
    w.array("gaps", e.gaps, [&](const Gap& g) {
      w.open();
      w.put("offset", g.offset);
      w.put("length", g.length);
      w.put("state", to_string(g.state));
      w.close();
    });
  }
  w.put_text("xxh3_128", e.sums.xxh3_128);
  w.put_text("sha256", e.sums.sha256);
  w.put_text("modified", e.modified);
  w.put_text("created", e.created);
  w.put_if("deleted", e.deleted);
  w.put_if("stream", e.stream);
  w.put_texts("doubts", e.doubts);
  if (!e.donors.empty()) {
    w.array("donors", e.donors, [&](const Donation& d) {
      w.open();
      w.put("image", d.image);
      w.put("path", d.path);
      w.put("bytes", d.bytes);
      w.array("ranges", d.ranges, [&](const Range& r) {
        w.open();
        w.put("offset", r.first);
        w.put("length", r.length());
        w.close();
      });
      w.close();
    });
  }
  w.put_text("symlink", e.symlink);
  w.put_text("link", e.link);
  if (!e.gap_list.empty()) {
    w.open("gap_list");
    w.put("target", e.gap_list);
    w.put("sha256", e.gap_list_sha256);
    w.close();
  }
  return w.finish();
}

std::optional<ManifestHeader> parse_header(std::string_view line, std::string& error) {
  rapidjson::Document document;
  if (!parse_object(line, document, error)) return std::nullopt;
  Fields f(document, error);
  ManifestHeader h;
  h.schema = f.needed_text("schema");
  if (h.schema != kManifestSchema && h.schema != kWorkSchema) f.complain("'{}' is no manifest of Lacuna", h.schema);
  h.made = f.text("made");
  h.run = f.text("run");
  h.record = f.text("record");
  Fields image = f.object("image");
  h.image.name = image.text("name");
  h.image.bytes = image.number("bytes");
  h.image.volume_id = image.text("volume_id");
  h.image.volume_created = image.text("volume_created");
  h.image.volume_bytes = image.number("volume_bytes");
  h.image.descriptors_sha256 = image.text("descriptors_sha256");
  h.session = f.text("session");
  h.basis = f.text("basis");
  h.map = f.flag("map");
  h.complete = f.flag("complete");
  Fields options = f.object("options");
  h.only = options.texts("only");
  h.damaged = options.flag("damaged");
  h.skip_programs = options.flag("skip_programs");
  h.portable_names = options.flag("portable_names");
  h.audio_format = options.text("audio_format");
  h.layout.bag = options.flag("bag");
  h.layout.once = options.flag("once");
  if (const std::string arrange = options.text("arrange"); !arrange.empty()) {
    if (const auto a = arrangement_from(arrange)) {
      h.layout.arrangement = *a;
    } else {
      f.complain("'{}' is no arrangement", arrange);
    }
  }
  return f.ok() ? std::optional(std::move(h)) : std::nullopt;
}

std::optional<ManifestEntry> parse_entry(std::string_view line, std::string& error) {
  rapidjson::Document document;
  if (!parse_object(line, document, error)) return std::nullopt;
  Fields f(document, error);
  ManifestEntry e;
  e.path = f.needed_text("path");
  e.target = f.text("target");
  Fields names = f.object("names");
  for (const auto& member : names.value().GetObject()) {
    if (!member.value.IsString()) {
      f.complain("'{}' holds what is no text", "names");
      break;
    }
    e.names.emplace_back(std::string(member.name.GetString(), member.name.GetStringLength()),
                         std::string(member.value.GetString(), member.value.GetStringLength()));
  }
  e.kind = f.needed_text("kind");
  e.size = f.number("size");
  if (f.find("target_bytes") != nullptr) e.target_bytes = f.number("target_bytes");
  const std::string state = f.needed_text("state"), outcome = f.needed_text("outcome");
  if (const auto s = file_state_from(state)) {
    e.state = *s;
  } else {
    f.complain("'{}' is no state of a file", state);
  }
  if (const auto o = pull_outcome_from(outcome)) {
    e.outcome = *o;
  } else {
    f.complain("'{}' is no outcome", outcome);
  }
  e.basis = f.text("basis");
  e.evidence = f.text("evidence");
  e.why = f.text("why");
  e.missing_bytes = f.number("missing_bytes");
  f.for_each("gaps", [&](const rapidjson::Value& v) {
    if (!v.IsObject()) return f.complain("'{}' holds what is no object", "gaps");
    Fields gap(v, error);
    const auto s = sector_state_from(gap.needed_text("state"));
    if (!s) return f.complain("'{}' has a state that is none", "gaps");
    e.gaps.push_back({gap.number("offset"), gap.number("length"), *s});
  });
  e.sums = {f.text("xxh3_128"), f.text("sha256")};
  e.modified = f.text("modified");
  e.created = f.text("created");
  e.deleted = f.flag("deleted");
  e.stream = f.flag("stream");
  e.shared = f.flag("shared");
  e.doubts = f.texts("doubts");
  f.for_each("donors", [&](const rapidjson::Value& v) {
    if (!v.IsObject()) return f.complain("'{}' holds what is no object", "donors");
    Fields donor(v, error);
    Donation d{donor.text("image"), donor.text("path"), donor.number("bytes"), {}};
    donor.for_each("ranges", [&](const rapidjson::Value& r) {
      if (!r.IsObject()) return f.complain("'{}' holds what is no object", "ranges");
      Fields range(r, error);
      const std::uint64_t first = range.number("offset");
      d.ranges.push_back({first, saturating_add(first, range.number("length"))});
    });
    e.donors.push_back(std::move(d));
  });
  e.symlink = f.text("symlink");
  e.link = f.text("link");
  Fields list = f.object("gap_list");
  e.gap_list = list.text("target");
  e.gap_list_sha256 = list.text("sha256");
  for (const std::string* target : {&e.target, &e.gap_list}) {
    if (!target->empty() && !is_inside_path(*target)) f.complain("'{}' leads outside the folder", *target);
  }
  if (e.in_folder() && e.link.empty() && (!is_hex(e.sums.sha256, kDigestDigits) || !is_hex(e.sums.xxh3_128, 32))) {
    f.complain("'{}' lacks a checksum", e.target);
  }
  return f.ok() ? std::optional(std::move(e)) : std::nullopt;
}

std::string sums_line(std::string_view sha256, std::string_view name) {
  std::string escaped;
  bool any = false;
  for (const char c : name) {
    const std::string_view as = c == '\\' ? "\\\\" : c == '\n' ? "\\n" : c == '\r' ? "\\r" : "";
    any |= !as.empty();
    if (as.empty()) {
      escaped += c;
    } else {
      escaped += as;
    }
  }
  return fmt::format("{}{}  {}\n", any ? "\\" : "", sha256, escaped);
}

std::optional<std::pair<std::string, std::string>> parse_sums_line(std::string_view line) {
  const bool escaped = line.starts_with('\\');
  if (escaped) line.remove_prefix(1);
  if (line.size() < kDigestDigits + 3 || !is_hex(line.substr(0, kDigestDigits), kDigestDigits)) return std::nullopt;
  const std::string_view between = line.substr(kDigestDigits, 2);
  if (between != "  " && between != " *") return std::nullopt;
  std::string name;
  for (std::size_t at = kDigestDigits + 2; at < line.size(); ++at) {
    char c = line[at];
    if (escaped && c == '\\') {
      if (++at == line.size()) return std::nullopt;
      c = line[at] == 'n' ? '\n' : line[at] == 'r' ? '\r' : line[at];
    }
    name += c;
  }
  return std::pair(std::string(line.substr(0, kDigestDigits)), std::move(name));
}

int for_each_line(int fd, const std::function<bool(std::string_view, std::uint64_t, bool)>& f) {
  constexpr std::size_t kReadBytes = 1 << 16;
  std::string text;
  std::uint64_t offset = 0, number = 0;
  std::vector<std::uint8_t> block(kReadBytes);
  for (;;) {
    std::size_t got = 0;
    if (const int error = read_fully_at(fd, offset, block, got); error != 0) return error;
    offset += got;
    const std::size_t searched = text.size();
    text += as_text(Bytes(block).first(got));
    std::size_t start = 0;
    for (std::size_t end = text.find('\n', searched); end != std::string::npos; end = text.find('\n', start)) {
      if (!f(std::string_view(text).substr(start, end - start), ++number, false)) return 0;
      start = end + 1;
    }
    text.erase(0, start);
    if (text.size() > kMaxLineBytes) return EFBIG;
    if (got < block.size()) break;
  }
  if (!text.empty()) f(text, ++number, true);
  return 0;
}

}  // namespace lacuna
