// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/json.h"

#include <rapidjson/encodings.h>
#include <rapidjson/memorystream.h>

#include "base/text.h"

namespace lacuna::report {
namespace {

/// Names of the tree always are; a path of the machine's file system need not be.
bool well_formed_utf8(std::string_view text) {
  struct Nowhere {
    void Put(char) {}
  } nowhere;
  rapidjson::MemoryStream in(text.data(), text.size());
  while (in.Tell() < text.size()) {
    if (!rapidjson::UTF8<>::Validate(in, nowhere)) return false;
  }
  return in.Tell() == text.size();
}

bool is_ascii(std::string_view text) {
  unsigned char all = 0;
  for (const char c : text) all = static_cast<unsigned char>(all | static_cast<unsigned char>(c));
  return all < 0x80;
}

std::string_view to_string(Severity s) {
  switch (s) {
    case Severity::kNote:
      return "note";
    case Severity::kDoubt:
      return "doubt";
    case Severity::kLoss:
      return "loss";
  }
  return "note";
}

}  // namespace

void Json::value(std::string_view text) {
  const auto put_raw = [this](std::string_view s) {
    writer_.String(s.data(), static_cast<rapidjson::SizeType>(s.size()));
  };
  if (is_ascii(text) || well_formed_utf8(text)) {
    put_raw(text);
  } else {
    put_raw(field_text(as_bytes(text)));
  }
}

void Json::value(const Timestamp& t) {
  if (t.known) {
    value(std::string_view(to_iso8601(t)));
  } else {
    null();
  }
}

void put_image(Json& json, const Disc& disc, const Verdicts& verdicts, const ReportContext& context) {
  const Image& image = disc.image();
  json.open_object("image");
  json.put("name", image.name());
  json.put("first_lba", image.first_lba());
  json.put("end_lba", image.end_lba());
  json.put("bytes", image.end_byte() - image.first_lba() * kSectorBytes);
  json.put("basis", to_string(verdicts.basis()));
  json.put("has_map", image.has_map());
  json.put("looked_inside", context.looked_inside);
  json.close_object();
}

void open_summary(Json& json, const Disc& disc, const Verdicts& verdicts) {
  std::uint64_t files = 0, bytes = 0, missing = 0;
  for (const StateCount& c : verdicts.counts()) {
    files += c.files;
    bytes += c.bytes;
    missing += c.missing_bytes;
  }
  json.open_object("summary");
  if (const Volume* v = disc.main_volume()) json.put("volume", v->volume_id);
  json.put("files", files);
  json.put("bytes", bytes);
  json.put("missing_bytes", missing);
  json.open_object("states");
  for (std::size_t i = 0; i < verdicts.counts().size(); ++i) {
    const StateCount& c = verdicts.counts()[i];
    json.open_object(to_string(static_cast<FileState>(i)));
    json.put("files", c.files);
    json.put("bytes", c.bytes);
    json.put("missing_bytes", c.missing_bytes);
    json.close_object();
  }
  json.close_object();
  json.put("hurt_directories", verdicts.hurt_directories());
}

void put_place(Json& json, std::uint64_t position) {
  if (position == kZeros) return json.put("zeros", true);
  if (position == kNowhere) return json.put("lba", std::optional<std::uint64_t>{});
  json.put("lba", position / kSectorBytes);
  if (position % kSectorBytes != 0) json.put("skip", position % kSectorBytes);
}

void put_findings(Json& json, const Findings& findings) {
  json.open_array("findings");
  for (const Finding& f : findings.list()) {
    json.open_object();
    json.put("severity", to_string(f.severity));
    json.put("kind", f.kind);
    json.put("subject", f.subject);
    json.put("lba", f.lba);
    json.put_text("clause", f.clause);
    json.put("text", f.text);
    json.close_object();
  }
  json.close_array();
  json.open_object("finding_counts");
  for (const auto& [kind, count] : findings.counts()) json.put(kind, count);
  json.close_object();
}

}  // namespace lacuna::report
