// SPDX-License-Identifier: GPL-3.0-or-later
// Sized structs: those of the caller may be of an older or a newer version than the library's.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstring>
#include <string>
#include <type_traits>

#include "capi/guard.h"

namespace lacuna::capi {

/// Far more than any version will have: a number beyond it is no size, and nothing is looked for behind it.
inline constexpr std::size_t kMostStructBytes = 4096;

/// struct_bytes of a caller's struct, checked. All members are, or pair up to, multiples of 8 bytes.
template <class T>
std::size_t struct_bytes_of(const T& given, const char* name) {
  static_assert(std::is_trivially_copyable_v<T> && sizeof(T) % 8 == 0 && offsetof(T, struct_bytes) == 0);
  const std::size_t bytes = given.struct_bytes;
  if (bytes < sizeof(std::size_t) || bytes > kMostStructBytes || bytes % 8 != 0) {
    fail_usage(std::string(name)
                   .append(": struct_bytes is ")
                   .append(std::to_string(bytes))
                   .append(", set it to sizeof(")
                   .append(name)
                   .append(")"));
  }
  return bytes;
}

/// The caller's options as this version's; members that an older version lacks, and all of NULL, are zero.
template <class T>
T options_from(const T* given, const char* name) {
  T own{};
  if (given != nullptr) {
    const std::size_t bytes = struct_bytes_of(*given, name);
    std::memcpy(&own, given, std::min(bytes, sizeof(T)));
    const auto* const raw = reinterpret_cast<const unsigned char*>(given);
    for (std::size_t i = sizeof(T); i < bytes; ++i) {
      if (raw[i] != 0) fail_usage(std::string(name).append(" asks for what this version of the library doesn't know"));
    }
  }
  own.struct_bytes = sizeof(T);
  return own;
}

/// Fills the caller's struct as far as it goes; what this version does not know becomes zero.
template <class T>
void give_struct(T* to, T value, const char* name) {
  if (to == nullptr) fail_usage(std::string(name).append(" is NULL"));
  const std::size_t bytes = struct_bytes_of(*to, name);
  value.struct_bytes = bytes;
  std::memcpy(to, &value, std::min(bytes, sizeof(T)));
  if (bytes > sizeof(T)) std::memset(reinterpret_cast<unsigned char*>(to) + sizeof(T), 0, bytes - sizeof(T));
}

inline void check_flags(std::uint32_t flags, std::uint32_t known, const char* what) {
  if ((flags & ~known) != 0) fail_usage(std::string(what).append(": unknown flags"));
}

}  // namespace lacuna::capi
