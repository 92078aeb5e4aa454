// SPDX-License-Identifier: GPL-3.0-or-later
#include "salvage/checksums.h"

#include <openssl/evp.h>
#include <xxhash.h>

#include <array>

namespace lacuna {
namespace {

template <auto F>
struct Deleter {
  template <class T>
  void operator()(T* p) const noexcept {
    F(p);
  }
};

}  // namespace

std::string to_hex(std::span<const std::uint8_t> bytes) {
  constexpr char kDigits[] = "0123456789abcdef";
  std::string out;
  out.reserve(bytes.size() * 2);
  for (const std::uint8_t b : bytes) {
    out += kDigits[b >> 4];
    out += kDigits[b & 15];
  }
  return out;
}

struct Hasher::Impl {
  std::unique_ptr<XXH3_state_t, Deleter<XXH3_freeState>> xxh3{XXH3_createState()};
  std::unique_ptr<EVP_MD, Deleter<EVP_MD_free>> algorithm{EVP_MD_fetch(nullptr, "SHA256", nullptr)};
  std::unique_ptr<EVP_MD_CTX, Deleter<EVP_MD_CTX_free>> sha256{EVP_MD_CTX_new()};
  bool ok = false;
};

Hasher::Hasher() : impl_(std::make_unique<Impl>()) {}
Hasher::~Hasher() = default;

void Hasher::start() {
  Impl& h = *impl_;
  h.ok = h.xxh3 && h.algorithm && h.sha256 && XXH3_128bits_reset(h.xxh3.get()) == XXH_OK &&
         EVP_DigestInit_ex2(h.sha256.get(), h.algorithm.get(), nullptr) == 1;
}

void Hasher::add(std::span<const std::uint8_t> bytes) {
  Impl& h = *impl_;
  h.ok = h.ok && XXH3_128bits_update(h.xxh3.get(), bytes.data(), bytes.size()) == XXH_OK &&
         EVP_DigestUpdate(h.sha256.get(), bytes.data(), bytes.size()) == 1;
}

Checksums Hasher::finish() {
  Impl& h = *impl_;
  std::array<std::uint8_t, 32> sha256{};
  h.ok = h.ok && EVP_DigestFinal_ex(h.sha256.get(), sha256.data(), nullptr) == 1;
  if (!h.ok) return {};
  XXH128_canonical_t xxh3{};
  XXH128_canonicalFromHash(&xxh3, XXH3_128bits_digest(h.xxh3.get()));
  return {to_hex(xxh3.digest), to_hex(sha256)};
}

}  // namespace lacuna
