// SPDX-License-Identifier: GPL-3.0-or-later
// Path components (ECMA-167 4/14.16): the content of symbolic links.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>

#include "base/bytes.h"

namespace lacuna::udf {

/// 4/14.16.1.
enum class PathComponentType : std::uint8_t {
  kReserved = 0,
  kNamedRoot = 1,  ///< A root that its users agreed on, named by the identifier; without one as kRoot.
  kRoot = 2,       ///< The root of the directory hierarchy.
  kParent = 3,     ///< ".."
  kSelf = 4,       ///< "."
  kName = 5,       ///< Numbers above this are reserved.
};

struct PathComponent {
  std::uint8_t type = 0;      ///< PathComponentType, or a reserved number.
  std::uint16_t version = 0;  ///< File version number; 0: any.
  Bytes identifier;           ///< With its compression id, CS0.
};

class PathComponentReader {
 public:
  enum class Stop : std::uint8_t {
    kNone,     ///< There may be more.
    kEnd,      ///< The content ends with its last component.
    kOverrun,  ///< A component runs over the end.
  };

  explicit PathComponentReader(Bytes content) noexcept : rest_(content) {}

  std::optional<PathComponent> next() noexcept;
  Stop stop() const noexcept { return stop_; }

 private:
  Bytes rest_;
  Stop stop_ = Stop::kNone;
};

/// What a path has against the standard; a bit set.
namespace path_problem {
inline constexpr std::uint32_t kOverrun = 1;   ///< A component runs over the end: the path lacks it and the rest.
inline constexpr std::uint32_t kReserved = 2;  ///< A component of a reserved type, left out.
inline constexpr std::uint32_t kNamedRoot =
    4;  ///< A root that only its writer's system knows; its name stands in the path.
inline constexpr std::uint32_t kRootInside = 8;    ///< A root that is not the first component: the path starts anew.
inline constexpr std::uint32_t kEmptyName = 16;    ///< A name of no characters, left out.
inline constexpr std::uint32_t kCompression = 32;  ///< UDF 2.1.1: a name's compression id is not one.
inline constexpr std::uint32_t kEmpty = 64;        ///< No component at all.
}  // namespace path_problem

/// The target of a symbolic link as POSIX text: names in the tree's form (base/text.h, so that no name holds a '/'),
/// '/' between them.
struct SymlinkTarget {
  std::string path;
  std::uint32_t problems = 0;  ///< path_problem
};
SymlinkTarget decode_symlink_target(Bytes content);

}  // namespace lacuna::udf
