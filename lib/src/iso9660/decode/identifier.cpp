// SPDX-License-Identifier: GPL-3.0-or-later
// Both kinds of identifier are read as sequences of units of 1 or 2 bytes, so that their rules are written once.
#include "iso9660/decode/identifier.h"

#include <cstddef>
#include <optional>

namespace lacuna::iso9660 {
namespace {

constexpr unsigned kMaxVersion = 32767;  // 7.5.1

template <std::size_t kUnitBytes>
class Units {
 public:
  explicit Units(Bytes id) : id_(id) {}
  std::size_t size() const { return id_.size() / kUnitBytes; }
  unsigned operator[](std::size_t i) const {
    if constexpr (kUnitBytes == 1) {
      return id_[i];
    } else {
      return be16(id_, i * 2);
    }
  }
  std::optional<std::size_t> last(unsigned unit, std::size_t end) const {
    for (std::size_t i = end; i-- > 0;) {
      if ((*this)[i] == unit) return i;
    }
    return {};
  }
  Bytes bytes(std::size_t from, std::size_t to) const {
    return id_.subspan(from * kUnitBytes, (to - from) * kUnitBytes);
  }

 private:
  Bytes id_;
};

/// The number from unit `at` to the end; 0 when it is not a version number.
template <std::size_t kUnitBytes>
std::uint16_t version_from(const Units<kUnitBytes>& id, std::size_t at) {
  unsigned version = 0;
  for (std::size_t i = at; i < id.size(); ++i) {
    if (id[i] < '0' || id[i] > '9') return 0;
    version = version * 10 + (id[i] - '0');
    if (version > kMaxVersion) return 0;
  }
  return static_cast<std::uint16_t>(version);
}

template <std::size_t kUnitBytes>
FileIdentifier split(const Units<kUnitBytes>& id, bool dot_may_be_of_the_name) {
  FileIdentifier f;
  std::size_t end = id.size();
  if (const auto semicolon = id.last(';', end); semicolon && *semicolon > 0) {
    f.version = version_from(id, *semicolon + 1);
    if (f.version != 0) end = *semicolon;
  }
  const bool take_dot = f.version != 0 || !dot_may_be_of_the_name;
  if (take_dot && end > 1 && id[end - 1] == '.') --end;
  f.base = id.bytes(0, end);
  f.name = f.base;
  if (const auto dot = id.last('.', end)) {
    f.name = id.bytes(0, *dot);
    f.extension = id.bytes(*dot + 1, end);
  }
  return f;
}

}  // namespace

FileIdentifier split_identifier(Bytes id) noexcept { return split(Units<1>(id), false); }

FileIdentifier split_identifier_ucs2(Bytes id) noexcept {
  if (id.size() % 2 != 0) return {id, id, {}, 0};
  return split(Units<2>(id), true);
}

}  // namespace lacuna::iso9660
