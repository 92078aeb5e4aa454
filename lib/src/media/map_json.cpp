// SPDX-License-Identifier: GPL-3.0-or-later
// The JSON form of a sector map, "lacuna/map/1" (described at parse_sector_map).
#include <fmt/format.h>
#include <rapidjson/error/en.h>
#include <rapidjson/memorystream.h>
#include <rapidjson/reader.h>

#include <algorithm>
#include <optional>
#include <utility>

#include "media/map_rows.h"

namespace lacuna {
namespace {

constexpr std::string_view kSchema = "lacuna/map/1";

// Counts lines up to positions that ascend.
class LineCounter {
 public:
  explicit LineCounter(std::string_view text) : text_(text) {}
  std::size_t line_at(std::size_t position) {
    const auto from = text_.begin() + static_cast<std::ptrdiff_t>(at_);
    at_ = std::clamp(position, at_, text_.size());
    line_ += static_cast<std::size_t>(std::count(from, text_.begin() + static_cast<std::ptrdiff_t>(at_), '\n'));
    return line_;
  }

 private:
  std::string_view text_;
  std::size_t at_ = 0;
  std::size_t line_ = 1;
};

// Takes the events of the parser. A false answer stops it; reason() then says why.
class MapHandler : public rapidjson::BaseReaderHandler<rapidjson::UTF8<>, MapHandler> {
 public:
  using Size = rapidjson::SizeType;
  struct Row {
    SectorRun run;
    std::size_t line = 0;
  };

  MapHandler(std::string_view text, const rapidjson::MemoryStream& stream, MapUnit unit)
      : stream_(stream), lines_(text), unit_(unit) {}

  bool Default() { return other("of another kind"); }
  bool Null() { return other("null"); }
  bool Bool(bool) { return other("true or false"); }
  bool Int(int) { return other("a negative number"); }
  bool Int64(std::int64_t) { return other("a negative number"); }
  bool Double(double) { return other("not a whole number"); }
  bool Uint(unsigned n) { return Uint64(n); }
  bool Uint64(std::uint64_t n) {
    if (place_ != Place::kRun || field_ > 1) return other("a number");
    (field_++ == 0 ? row_.first : row_.count) = n;
    return true;
  }
  bool String(const char* data, Size length, bool) { return word({data, length}); }
  bool Key(const char* data, Size length, bool) {
    if (place_ == Place::kRoot) key_.assign(data, length);
    return true;
  }

  bool StartObject() {
    if (place_ == Place::kStart) return go(Place::kRoot);
    return start_other("an object");
  }
  bool StartArray() {
    if (place_ == Place::kRoot && key_ == "runs") return go(Place::kRuns);
    if (place_ == Place::kRuns) {
      field_ = 0;
      return go(Place::kRun);
    }
    return start_other("an array");
  }
  bool EndObject(Size) { return end(); }
  bool EndArray(Size) { return end(); }

  const std::string& reason() const noexcept { return reason_; }
  std::size_t line() { return lines_.line_at(stream_.Tell()); }

  Result<SectorMap> finish(const std::string& name) && {
    if (!has_schema_) return bad_line(name, 1, fmt::format("needs \"schema\":\"{}\"", kSchema));
    if (rows_.empty() && !default_) return bad_line(name, 1, "says nothing of any sector");
    std::vector<SectorRun> runs;
    runs.reserve(rows_.size());
    for (const Row& row : rows_) {
      const std::string why = why_no_row(row.run.first, row.run.count, unit_);
      if (!why.empty()) return bad_line(name, row.line, why);
      runs.push_back(row.run);
    }
    SectorMap map = map_from_rows(std::move(runs), unit_, default_.value_or(SectorState::kGood));
    map.set_basis(basis_);
    return map;
  }

 private:
  enum class Place { kStart, kRoot, kRuns, kRun, kUnknown, kDone };

  bool go(Place place) {
    place_ = place;
    return true;
  }
  bool fail(std::string reason) {
    reason_ = std::move(reason);
    return false;
  }
  bool known_key() const {
    return key_ == "schema" || key_ == "unit" || key_ == "default" || key_ == "basis" || key_ == "runs";
  }

  // A value that stands where it must not, or belongs to a key that a later version may have added.
  bool other(std::string_view what) {
    if (place_ == Place::kUnknown || (place_ == Place::kRoot && !known_key())) return true;
    if (place_ == Place::kStart) return fail(fmt::format("is {}, where a map is an object", what));
    if (place_ == Place::kRoot) {
      return fail(fmt::format("\"{}\" is {}, where {} is needed", key_, what, key_ == "runs" ? "an array" : "a word"));
    }
    return fail(fmt::format("a run is [first, count, \"state\"]; here is {}", what));
  }
  bool start_other(std::string_view what) {
    if (!other(what)) return false;
    ++unknown_depth_;
    return go(Place::kUnknown);
  }

  bool word(std::string_view text) {
    if (place_ == Place::kRun && field_ == 2) {
      ++field_;
      return take_state(text, row_.state);
    }
    if (place_ != Place::kRoot || key_ == "runs") return other("a text");
    if (key_ == "schema") {
      has_schema_ = true;
      return text == kSchema ||
             fail(fmt::format("schema {} is not known; it must be '{}'", quoted_input(text), kSchema));
    }
    if (key_ == "default") return take_state(text, default_.emplace());
    if (key_ == "basis") {
      const std::optional<Basis> basis = map_basis_from(text);
      if (!basis) return fail(fmt::format("unknown basis {}; it is one of edc, map, assumed", quoted_input(text)));
      basis_ = *basis;
    }
    if (key_ == "unit") {
      if (text == "sectors")
        unit_ = MapUnit::kSectors;
      else if (text == "bytes")
        unit_ = MapUnit::kBytes;
      else if (text == "512")
        unit_ = MapUnit::k512;
      else
        return fail(fmt::format("unknown unit {}; it is one of sectors, bytes, 512", quoted_input(text)));
    }
    return true;
  }

  bool take_state(std::string_view text, SectorState& to) {
    const std::optional<SectorState> state = sector_state_from(text);
    if (!state) {
      return fail(fmt::format("unknown state {}; it is one of good, repaired, suspect, bad, unread, absent",
                              quoted_input(text)));
    }
    to = *state;
    return true;
  }

  bool end() {
    switch (place_) {
      case Place::kUnknown:
        return --unknown_depth_ > 0 || go(Place::kRoot);
      case Place::kRun:
        if (field_ < 3) return fail("a run is [first, count, \"state\"]; here is less");
        rows_.push_back({row_, line()});
        return go(Place::kRuns);
      case Place::kRuns:
        return go(Place::kRoot);
      default:
        return go(Place::kDone);
    }
  }

  const rapidjson::MemoryStream& stream_;
  LineCounter lines_;
  MapUnit unit_;
  Place place_ = Place::kStart;
  std::string key_;
  std::size_t unknown_depth_ = 0;
  SectorRun row_;
  int field_ = 0;
  bool has_schema_ = false;
  std::optional<SectorState> default_;
  Basis basis_ = Basis::kMap;
  std::vector<Row> rows_;
  std::string reason_;
};

}  // namespace

Result<SectorMap> parse_map_json(std::string_view text, const std::string& name, MapUnit unit) {
  rapidjson::MemoryStream stream(text.data(), text.size());
  MapHandler handler(text, stream, unit);
  rapidjson::Reader reader;
  // Iterative: brackets in brackets can't use up the stack.
  constexpr unsigned kFlags = rapidjson::kParseIterativeFlag | rapidjson::kParseValidateEncodingFlag;
  const rapidjson::ParseResult result = reader.Parse<kFlags>(stream, handler);
  if (!handler.reason().empty()) return bad_line(name, handler.line(), handler.reason());
  if (result.IsError()) {
    std::string why = rapidjson::GetParseError_En(result.Code());
    if (why.ends_with('.')) why.pop_back();
    return bad_line(name, LineCounter(text).line_at(result.Offset()), "is not valid JSON: " + why);
  }
  return std::move(handler).finish(name);
}

}  // namespace lacuna
