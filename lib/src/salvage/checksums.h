// SPDX-License-Identifier: GPL-3.0-or-later
// Checksums: XXH3-128 and SHA-256 of a file in one pass.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>

namespace lacuna {

/// Lower-case hexadecimal.
std::string to_hex(std::span<const std::uint8_t> bytes);

/// Lower-case hexadecimal; both empty when not computed.
struct Checksums {
  std::string xxh3_128;  ///< Canonical (big-endian) form.
  std::string sha256;

  friend bool operator==(const Checksums&, const Checksums&) = default;
};

/// Reusable, so that many small files cost no allocations. For one thread.
class Hasher {
 public:
  Hasher();
  ~Hasher();
  Hasher(const Hasher&) = delete;
  Hasher& operator=(const Hasher&) = delete;

  void start();
  void add(std::span<const std::uint8_t> bytes);
  /// Both empty when the cryptographic library refused to work since start().
  Checksums finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace lacuna
