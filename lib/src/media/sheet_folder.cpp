// SPDX-License-Identifier: GPL-3.0-or-later
#include "media/sheet_folder.h"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <system_error>
#include <utility>

#include "base/utf8.h"
#include "media/file_store.h"
#include "media/map_rows.h"

namespace lacuna {

SheetFolder::SheetFolder(const std::filesystem::path& sheet, SheetCharset charset)
    : folder_(sheet.parent_path()), charset_(charset) {
  if (folder_.empty()) folder_ = ".";
}

const std::vector<std::string>& SheetFolder::names() {
  if (names_) return *names_;
  names_.emplace();
  std::error_code error;
  std::filesystem::directory_iterator entries(folder_, error);
  for (; !error && entries != std::filesystem::directory_iterator(); entries.increment(error)) {
    names_->push_back(entries->path().filename().string());
  }
  std::sort(names_->begin(), names_->end());
  return *names_;
}

SheetFile SheetFolder::open(std::string_view name) {
  const std::string own_name(last_component(name));
  if (own_name.empty()) return {nullptr, {}, "names no file"};
  const std::string utf8_name = to_utf8(own_name, charset_);
  std::string found;
  std::error_code error;
  for (const std::string& exact : {own_name, utf8_name}) {
    if (found.empty() && std::filesystem::exists(folder_ / exact, error)) found = exact;
  }
  for (const std::string& other : {own_name, utf8_name}) {
    if (!found.empty()) break;
    std::vector<std::string> alike;
    const auto same = [&](const std::string& n) { return same_word(n, other); };
    std::copy_if(names().begin(), names().end(), std::back_inserter(alike), same);
    if (alike.size() > 1) {
      return {nullptr,
              {},
              fmt::format("could be {} or {}, so that neither was taken; rename the one that is meant",
                          quoted_input(alike[0]), quoted_input(alike[1]))};
    }
    if (!alike.empty()) found = alike.front();
  }
  if (found.empty()) return {nullptr, {}, "is missing"};
  Result<std::unique_ptr<ByteStore>> store = FileStore::open(folder_ / found);
  if (!store) return {nullptr, {}, store.error().message};
  return {std::move(store).value(), found, {}};
}

}  // namespace lacuna
