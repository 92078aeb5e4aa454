// SPDX-License-Identifier: GPL-3.0-or-later
#include "image_argument.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <filesystem>
#include <string_view>

#include "command.h"

namespace lacuna::tool {
namespace {

constexpr std::array<std::string_view, 4> kKeys{"map", "part", "starts-at", "drive"};

/// Where the next ",KEY=" begins; npos: nowhere.
std::size_t next_key(std::string_view text, std::size_t from) {
  std::size_t first = std::string_view::npos;
  for (const std::string_view key : kKeys) first = std::min(first, text.find(fmt::format(",{}=", key), from));
  return first;
}

[[noreturn]] void refuse(const std::string& text, const std::string& why) {
  throw Failure{kUsageError, fmt::format("'{}': {}", text, why)};
}

}  // namespace

ImageArgument ImageArgument::parse(const std::string& text) {
  ImageArgument argument;
  std::error_code error;
  std::size_t at = std::filesystem::exists(text, error) ? std::string::npos : next_key(text, 0);
  argument.path = text.substr(0, at);
  while (at != std::string::npos) {
    const std::size_t equals = text.find('=', at), end = next_key(text, equals);
    const std::string key = text.substr(at + 1, equals - at - 1);
    const std::string value = text.substr(equals + 1, end == std::string::npos ? end : end - equals - 1);
    if (value.empty()) refuse(text, key + "= is followed by nothing");
    if (key == "map") {
      argument.maps.push_back(value);
    } else if (key == "part") {
      argument.parts.push_back(value);
    } else if (key == "starts-at") {
      const std::optional<std::uint64_t> lba = parse_number(value);
      if (!lba || *lba >= kMaxSectors) refuse(text, "'" + value + "' is not an LBA");
      argument.starts_at = *lba;
    } else {
      if (value != "yes" && value != "no") refuse(text, "drive= is yes or no");
      argument.drive = value == "yes";
    }
    at = end;
  }
  if (argument.path.empty()) refuse(text, "names no image");
  if (std::filesystem::is_block_file(argument.path, error)) argument.drive = true;
  return argument;
}

std::unique_ptr<Image> ImageArgument::open(const CommonArguments& common, ProgressLine& line) const {
  std::vector<std::filesystem::path> paths{path};
  paths.insert(paths.end(), parts.begin(), parts.end());
  ImageOptions options;
  options.maps.assign(maps.begin(), maps.end());
  options.starts_at = starts_at;
  options.threads = static_cast<unsigned>(common.threads);
  options.progress = line.callback();
  std::unique_ptr<Image> image = must(Image::open(paths, options));
  for (const Finding& f : image->findings().list()) {
    if (f.severity != Severity::kNote) common.note(f.subject + ": " + f.text);
  }
  return image;
}

std::vector<ImageArguments> ImageArguments::each() const {
  if (many.size() > 1 && (!maps.empty() || !parts.empty() || starts_at != 0)) {
    throw Failure{kUsageError,
                  "--map, --part and --starts-at are of one image; of several give them behind each one's name, as in "
                  "IMAGE,map=FILE"};
  }
  std::vector<ImageArguments> all;
  for (const std::string& text : many) {
    const ImageArgument own = ImageArgument::parse(text);
    ImageArguments one = *this;
    one.image = own.path;
    one.maps.insert(one.maps.end(), own.maps.begin(), own.maps.end());
    one.parts.insert(one.parts.end(), own.parts.begin(), own.parts.end());
    if (own.starts_at != 0) one.starts_at = own.starts_at;
    one.many.clear();
    all.push_back(std::move(one));
  }
  return all;
}

int for_each_image(const ImageArguments& images, const std::function<int(const ImageArguments&)>& one) {
  const std::vector<ImageArguments> all = images.each();
  if (all.size() == 1) return one(all.front());
  int worst = kAllWhole;
  for (const ImageArguments& image : all) {
    try {
      worst = std::max(worst, one(image));
    } catch (const Failure& f) {
      if (f.status == kInterrupted || f.status == kPipeClosed || f.status == kUnwritable) throw;
      say(f.message);
      worst = std::max(worst, f.status);
    }
  }
  return worst;
}

}  // namespace lacuna::tool
