// SPDX-License-Identifier: GPL-3.0-or-later
// The text form of a sector map and the bare list of bad sectors; which form a text is in; and writing.
#include <fmt/format.h>
#include <rapidjson/stringbuffer.h>
#include <rapidjson/writer.h>

#include <algorithm>
#include <array>
#include <iterator>
#include <optional>
#include <utility>

#include "media/file_store.h"
#include "media/map_rows.h"

namespace lacuna {
namespace {

// Some ten million runs. What is larger is no map, and its runs would fill the memory.
constexpr std::size_t kMaxMapBytes = std::size_t{256} << 20;

constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";

class TextForm {
 public:
  TextForm(const std::string& name, MapUnit unit) : name_(name), unit_(unit) {}

  // Gives a reason when the line is bad, else nothing.
  std::string take(std::string_view line) {
    line = trimmed(line);
    if (line.starts_with("#!")) return take_directive(trimmed(without_comment(line.substr(2))));
    line = trimmed(without_comment(line));
    if (line.empty()) return {};
    std::array<std::string_view, 4> fields;
    const std::size_t count = split(line, fields);
    if (count == 1) return take_row(Form::kBareList, fields);
    if (count == 2) return "a line has FIRST COUNT STATE; the third is missing";
    if (count == 3) return take_row(Form::kRuns, fields);
    return "a line has FIRST COUNT STATE, and no more";
  }

  Result<SectorMap> finish(std::size_t line) {
    if (form_ == Form::kUndecided && !default_) {
      return bad_line(name_, line,
                      "says nothing of any sector; if nothing is bad, say so with a line '#! default good'");
    }
    SectorMap map = map_from_rows(std::move(rows_), unit_, default_.value_or(SectorState::kGood));
    map.set_basis(basis_);
    return map;
  }

 private:
  enum class Form { kUndecided, kRuns, kBareList };

  static std::string_view without_comment(std::string_view line) { return line.substr(0, line.find('#')); }

  // Gives the number of fields, of which the first four are kept.
  static std::size_t split(std::string_view line, std::array<std::string_view, 4>& fields) {
    std::size_t count = 0;
    for (line = trimmed(line); !line.empty() && count < fields.size(); line = trimmed(line)) {
      const std::size_t end = std::min(line.find_first_of(" \t"), line.size());
      fields[count++] = line.substr(0, end);
      line.remove_prefix(end);
    }
    return count;
  }

  std::string take_directive(std::string_view text) {
    std::array<std::string_view, 4> fields;
    const std::size_t count = split(text, fields);
    if (count == 2 && fields[0] == "default") {
      const std::optional<SectorState> state = sector_state_from(fields[1]);
      if (!state) return unknown_state(fields[1]);
      if (default_) return "'#! default' stands here for the second time";
      default_ = state;
      return {};
    }
    if (count == 2 && fields[0] == "unit") {
      if (form_ != Form::kUndecided) return "'#! unit' must stand before the first line with numbers";
      if (fields[1] == "sectors")
        unit_ = MapUnit::kSectors;
      else if (fields[1] == "bytes")
        unit_ = MapUnit::kBytes;
      else if (fields[1] == "512")
        unit_ = MapUnit::k512;
      else
        return fmt::format("unknown unit {}; it is one of sectors, bytes, 512", quoted_input(fields[1]));
      return {};
    }
    if (count == 2 && fields[0] == "basis") {
      const std::optional<Basis> basis = map_basis_from(fields[1]);
      if (!basis) return fmt::format("unknown basis {}; it is one of edc, map, assumed", quoted_input(fields[1]));
      basis_ = *basis;
      return {};
    }
    return fmt::format("unknown directive {}; there are '#! default STATE', '#! unit bytes' and '#! basis assumed'",
                       quoted_input(text));
  }

  static std::string unknown_state(std::string_view word) {
    return fmt::format("unknown state {}; it is one of good, repaired, suspect, bad, unread, absent",
                       quoted_input(word));
  }

  std::string take_row(Form form, const std::array<std::string_view, 4>& fields) {
    if (form_ != Form::kUndecided && form_ != form) {
      return "a bare list of sector numbers and lines of FIRST COUNT STATE can't be mixed";
    }
    if (form == Form::kBareList && unit_ == MapUnit::kBytes) {
      return "a bare list counts sectors; in bytes, a line needs FIRST COUNT STATE";
    }
    form_ = form;
    const Result<std::uint64_t> first = parse_map_number(fields[0], "FIRST");
    if (!first) return first.error().message;
    SectorRun row{*first, 1, SectorState::kBad};
    if (form == Form::kRuns) {
      const Result<std::uint64_t> count = parse_map_number(fields[1], "COUNT");
      if (!count) return count.error().message;
      const std::optional<SectorState> state = sector_state_from(fields[2]);
      if (!state) return unknown_state(fields[2]);
      row.count = *count;
      row.state = *state;
    }
    std::string why = why_no_row(row.first, row.count, unit_);
    if (why.empty()) rows_.push_back(row);
    return why;
  }

  const std::string& name_;
  MapUnit unit_;
  Form form_ = Form::kUndecided;
  std::optional<SectorState> default_;
  Basis basis_ = Basis::kMap;
  std::vector<SectorRun> rows_;
};

}  // namespace

Result<SectorMap> parse_map_lines(std::string_view text, const std::string& name, MapUnit unit) {
  TextForm form(name, unit);
  MapLines lines(text);
  while (lines.next()) {
    if (const std::string why = form.take(lines.line()); !why.empty()) return bad_line(name, lines.number(), why);
  }
  return form.finish(std::max<std::size_t>(lines.number(), 1));
}

Result<SectorMap> parse_sector_map(std::string_view text, const std::string& name, const MapColumns& columns) {
  if (const std::size_t nul = text.find('\0'); nul != std::string_view::npos) {
    const auto line = std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(nul), '\n') + 1;
    return bad_line(name, static_cast<std::size_t>(line), "is not a sector map: it holds NUL bytes, as no text does");
  }
  if (text.starts_with(kByteOrderMark)) text.remove_prefix(kByteOrderMark.size());
  if (columns.given()) return parse_map_log(text, name, columns);
  if (!columns.good_words.empty() || !columns.bad_words.empty()) {
    return Error{ErrorCode::kUsage, "words for good and bad (--map-good, --map-bad) need the columns (--map-columns)"};
  }
  const std::size_t start = text.find_first_not_of(" \t\r\n");
  const bool json = start != std::string_view::npos && (text[start] == '{' || text[start] == '[');
  return json ? parse_map_json(text, name, columns.unit) : parse_map_lines(text, name, columns.unit);
}

Result<SectorMap> load_sector_map(const std::filesystem::path& file, const MapColumns& columns) {
  Result<std::string> text = read_whole_file(file, kMaxMapBytes + 1);
  if (!text) return text.error();
  if (text->size() > kMaxMapBytes) {
    return Error{ErrorCode::kNotReadable,
                 fmt::format("'{}' is larger than {} MiB; is it a sector map?", file.string(), kMaxMapBytes >> 20)};
  }
  return parse_sector_map(*text, file.string(), columns);
}

std::string to_map_text(const SectorMap& map, std::uint64_t end) {
  std::string out = "# Sector map: FIRST COUNT STATE, in sectors of 2048 bytes\n";
  if (map.basis() == Basis::kAssumed) {
    out += "# Inferred from the image alone: \"good\" means that nothing in it speaks against the sector\n";
  }
  fmt::format_to(std::back_inserter(out), "#! basis {}\n", to_string(map.basis()));
  for (const SectorRun& run : map.slice(0, end)) {
    fmt::format_to(std::back_inserter(out), "{} {} {}\n", run.first, run.count, to_string(run.state));
  }
  return out;
}

std::string to_map_json(const SectorMap& map, std::uint64_t end) {
  rapidjson::StringBuffer buffer;
  rapidjson::Writer<rapidjson::StringBuffer> json(buffer);
  const auto text = [&](std::string_view s) { json.String(s.data(), static_cast<rapidjson::SizeType>(s.size())); };
  json.StartObject();
  json.Key("schema");
  json.String("lacuna/map/1");
  json.Key("unit");
  json.String("sectors");
  json.Key("default");
  json.String("good");
  json.Key("basis");
  text(to_string(map.basis()));
  json.Key("runs");
  json.StartArray();
  for (const SectorRun& run : map.slice(0, end)) {
    json.StartArray();
    json.Uint64(run.first);
    json.Uint64(run.count);
    text(to_string(run.state));
    json.EndArray();
  }
  json.EndArray();
  json.EndObject();
  return {buffer.GetString(), buffer.GetSize()};
}

}  // namespace lacuna
