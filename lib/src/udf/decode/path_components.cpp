// SPDX-License-Identifier: GPL-3.0-or-later
#include "udf/decode/path_components.h"

#include <string_view>

#include "udf/decode/cs0.h"

namespace lacuna::udf {
namespace {

constexpr std::size_t kComponentBytes = 4;

void separate(std::string& path) {
  if (!path.empty() && path.back() != '/') path += '/';
}

void append_root(SymlinkTarget& to, bool is_first) {
  if (!is_first) to.problems |= path_problem::kRootInside;
  to.path = "/";
}

void append_name(SymlinkTarget& to, Bytes identifier) {
  if (identifier.size() < 2) {  // a compression id alone is no name either
    to.problems |= path_problem::kEmptyName;
    return;
  }
  separate(to.path);
  const Cs0Form form = append_cs0_name(to.path, identifier);
  if (form != Cs0Form::k8 && form != Cs0Form::k16) to.problems |= path_problem::kCompression;
}

}  // namespace

// ECMA-167 4/14.16.1
std::optional<PathComponent> PathComponentReader::next() noexcept {
  if (stop_ != Stop::kNone) return {};
  if (rest_.empty()) {
    stop_ = Stop::kEnd;
    return {};
  }
  if (rest_.size() < kComponentBytes || rest_.size() - kComponentBytes < rest_[1]) {
    stop_ = Stop::kOverrun;
    return {};
  }
  const PathComponent c{rest_[0], le16(rest_, 2), rest_.subspan(kComponentBytes, rest_[1])};
  rest_ = rest_.subspan(kComponentBytes + c.identifier.size());
  return c;
}

// ECMA-167 4/14.16, 4/8.7
SymlinkTarget decode_symlink_target(Bytes content) {
  using Type = PathComponentType;
  SymlinkTarget target;
  PathComponentReader reader(content);
  bool is_first = true;
  while (const auto c = reader.next()) {
    switch (static_cast<Type>(c->type)) {
      case Type::kNamedRoot:
        append_root(target, is_first);
        if (!c->identifier.empty()) {
          target.path.clear();
          target.problems |= path_problem::kNamedRoot;
          append_name(target, c->identifier);
        }
        break;
      case Type::kRoot:
        append_root(target, is_first);
        break;
      case Type::kParent:
        separate(target.path);
        target.path += "..";
        break;
      case Type::kSelf:
        separate(target.path);
        target.path += '.';
        break;
      case Type::kName:
        append_name(target, c->identifier);
        break;
      case Type::kReserved:
      default:
        target.problems |= path_problem::kReserved;
    }
    is_first = false;
  }
  if (reader.stop() == PathComponentReader::Stop::kOverrun) target.problems |= path_problem::kOverrun;
  if (is_first) target.problems |= path_problem::kEmpty;
  return target;
}

}  // namespace lacuna::udf
