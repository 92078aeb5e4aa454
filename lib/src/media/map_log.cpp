// SPDX-License-Identifier: GPL-3.0-or-later
// A delimited log of another program, read by the description of its columns.
#include <fmt/format.h>

#include <algorithm>
#include <limits>
#include <optional>
#include <utility>

#include "media/map_rows.h"

namespace lacuna {
namespace {

Error usage(std::string message) { return {ErrorCode::kUsage, std::move(message)}; }

bool is_blank(char c) { return c == ' ' || c == '\t'; }

// Fields are separated by blanks, or by a comma or semicolon with or without blanks around it.
void split(std::string_view line, std::vector<std::string_view>& fields) {
  fields.clear();
  line = trimmed(line);
  for (;;) {
    const std::size_t end = std::min(line.find_first_of(" \t,;"), line.size());
    fields.push_back(line.substr(0, end));
    line.remove_prefix(end);
    const bool blank = !line.empty() && is_blank(line.front());
    line = trimmed(line);
    if (!line.empty() && (line.front() == ',' || line.front() == ';')) {
      line = trimmed(line.substr(1));
    } else if (!blank) {
      return;
    }
  }
}

class LogForm {
 public:
  static Result<LogForm> describe(const MapColumns& columns) {
    LogForm form(columns);
    for (std::size_t i = 0; i < columns.columns.size(); ++i) {
      const std::string& word = columns.columns[i];
      if (word == "-") continue;
      std::optional<std::size_t>* place = form.place_of(word);
      if (place == nullptr) {
        return usage(
            fmt::format("unknown column {}; there are first, count, end, last, state and -", quoted_input(word)));
      }
      if (*place) return usage(fmt::format("column '{}' is given twice", word));
      *place = i;
    }
    if (!form.first_) return usage("the columns of the map need 'first'");
    if (form.count_.has_value() + form.end_.has_value() + form.last_.has_value() > 1) {
      return usage("the columns of the map may have one of 'count', 'end' and 'last'");
    }
    if (!form.has_length() && columns.unit == MapUnit::kBytes) {
      return usage("a map in bytes needs a column 'count', 'end' or 'last'");
    }
    const bool words = !columns.good_words.empty() || !columns.bad_words.empty();
    if (words && !form.state_) return usage("words for good and bad need a column 'state'");
    for (const std::string& word : columns.good_words) {
      if (std::ranges::count(columns.bad_words, word) > 0) {
        return usage(fmt::format("{} can't be a word for both good and bad", quoted_input(word)));
      }
    }
    return form;
  }

  std::string take(std::string_view line) {
    if (trimmed(line).empty() || line.front() == '#') return {};
    split(line, fields_);
    const std::vector<std::string>& columns = columns_->columns;
    const bool open_end = columns.back() == "-";
    const std::size_t least = open_end ? columns.size() - 1 : columns.size();
    if (fields_.size() < least || (!open_end && fields_.size() > least)) {
      return fmt::format("has {} fields, where {} columns are described", fields_.size(), columns.size());
    }
    const Result<std::uint64_t> first = parse_map_number(fields_[*first_], "first");
    if (!first) return first.error().message;
    SectorRun row{*first, 1, SectorState::kBad};
    if (std::string why = take_length(row); !why.empty()) return why;
    if (std::string why = take_state(row); !why.empty()) return why;
    std::string why = why_no_row(row.first, row.count, columns_->unit);
    if (why.empty()) rows_.push_back(row);
    return why;
  }

  bool empty() const noexcept { return rows_.empty(); }

  SectorMap finish() && {
    // A log with words for good says what was read; what it doesn't list was not.
    const SectorState unlisted = columns_->good_words.empty() ? SectorState::kGood : SectorState::kUnread;
    return map_from_rows(std::move(rows_), columns_->unit, unlisted);
  }

 private:
  explicit LogForm(const MapColumns& columns) : columns_(&columns) {}

  std::optional<std::size_t>* place_of(std::string_view word) {
    if (word == "first") return &first_;
    if (word == "count") return &count_;
    if (word == "end") return &end_;
    if (word == "last") return &last_;
    if (word == "state") return &state_;
    return nullptr;
  }

  bool has_length() const noexcept { return count_ || end_ || last_; }

  std::string take_length(SectorRun& row) const {
    if (!has_length()) return {};
    const std::string_view what = count_ ? "count" : end_ ? "end" : "last";
    const Result<std::uint64_t> number = parse_map_number(fields_[*(count_ ? count_ : end_ ? end_ : last_)], what);
    if (!number) return number.error().message;
    if (count_) {
      row.count = *number;
      return {};
    }
    if (*number < row.first || (last_ && *number == std::numeric_limits<std::uint64_t>::max())) {
      return fmt::format("{} {} does not fit first {}", what, *number, row.first);
    }
    row.count = *number - row.first + (last_ ? 1 : 0);
    return {};
  }

  std::string take_state(SectorRun& row) const {
    if (!state_) return {};  // a list of what is bad
    const std::string_view word = fields_[*state_];
    const auto in = [&](const std::vector<std::string>& words) { return std::ranges::count(words, word) > 0; };
    if (columns_->good_words.empty() && columns_->bad_words.empty()) {
      const std::optional<SectorState> state = sector_state_from(word);
      if (!state) return fmt::format("unknown state {}; say which words mean good and bad", quoted_input(word));
      row.state = *state;
    } else if (in(columns_->good_words)) {
      row.state = SectorState::kGood;
    } else if (!in(columns_->bad_words)) {
      return fmt::format("the word {} is neither among those for good nor among those for bad", quoted_input(word));
    }
    return {};
  }

  const MapColumns* columns_;
  std::optional<std::size_t> first_, count_, end_, last_, state_;
  std::vector<std::string_view> fields_;
  std::vector<SectorRun> rows_;
};

}  // namespace

Result<SectorMap> parse_map_log(std::string_view text, const std::string& name, const MapColumns& columns) {
  Result<LogForm> form = LogForm::describe(columns);
  if (!form) return form.error();
  MapLines lines(text);
  while (lines.next()) {
    if (const std::string why = form->take(lines.line()); !why.empty()) return bad_line(name, lines.number(), why);
  }
  if (form->empty()) return bad_line(name, std::max<std::size_t>(lines.number(), 1), "says nothing of any sector");
  return std::move(*form).finish();
}

}  // namespace lacuna
