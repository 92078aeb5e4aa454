// SPDX-License-Identifier: GPL-3.0-or-later
// Polynomials are kept reversed: the most significant bit of a register is the coefficient of x^0, so that the bit
// which is sent first, the least significant one of a byte, is the one of the highest power.
#include "media/cd/edc.h"

#include <array>
#include <cstddef>

#if defined(__x86_64__) || defined(__i386__)
#define LACUNA_EDC_CLMUL
#include <immintrin.h>
#endif

namespace lacuna::cd {
namespace {

constexpr std::uint64_t times(std::uint64_t a, std::uint64_t b) {
  std::uint64_t product = 0;
  for (; b != 0; b >>= 1, a <<= 1) product ^= (b & 1) != 0 ? a : 0;
  return product;
}

constexpr std::uint32_t reversed(std::uint32_t v) {
  std::uint32_t r = 0;
  for (int i = 0; i < 32; ++i) r |= (v >> i & 1) << (31 - i);
  return r;
}

// ECMA-130 14.3: x^16+x^15+x^2+1 and x^16+x^2+x+1; x^32 is left out.
constexpr std::uint32_t kPolynomial = reversed(static_cast<std::uint32_t>(times(0x18005, 0x10007)));
static_assert(kPolynomial == 0xD8018001);

constexpr std::uint32_t times_x(std::uint32_t r) { return r >> 1 ^ ((r & 1) != 0 ? kPolynomial : 0); }

constexpr std::size_t kSlices = 16;
using SliceTables = std::array<std::array<std::uint32_t, 256>, kSlices>;

// [k][b]: the remainder of byte b followed by k zero bytes.
constexpr SliceTables kTables = [] {
  SliceTables t{};
  for (std::uint32_t b = 0; b < 256; ++b) {
    std::uint32_t r = b;
    for (int bit = 0; bit < 8; ++bit) r = times_x(r);
    t[0][b] = r;
  }
  for (std::size_t k = 1; k < kSlices; ++k) {
    for (std::size_t b = 0; b < 256; ++b) t[k][b] = t[k - 1][b] >> 8 ^ t[0][t[k - 1][b] & 0xff];
  }
  return t;
}();

/// The first of eight bytes is the least significant and has `slice` bytes behind it, the last slice - 7.
std::uint32_t remainder_of_8(std::uint64_t v, std::size_t slice) noexcept {
  std::uint32_t r = 0;
  for (std::size_t i = 0; i < 8; ++i) r ^= kTables[slice - i][v >> (8 * i) & 0xff];
  return r;
}

std::uint32_t go_on_by_tables(std::uint32_t r, Bytes bytes) noexcept {
  std::size_t at = 0;
  for (; bytes.size() - at >= kSlices; at += kSlices) {
    r = remainder_of_8(le64(bytes, at) ^ r, 15) ^ remainder_of_8(le64(bytes, at + 8), 7);
  }
  if (bytes.size() - at >= 8) {
    r = remainder_of_8(le64(bytes, at) ^ r, 7);
    at += 8;
  }
  for (; at < bytes.size(); ++at) r = r >> 8 ^ kTables[0][(r ^ bytes[at]) & 0xff];
  return r;
}

#ifdef LACUNA_EDC_CLMUL

/// x^n mod P as the upper half of a register whose most significant bit is x^0.
constexpr std::uint64_t power_of_x(unsigned n) {
  std::uint32_t r = 0x80000000;
  for (; n > 0; --n) r = times_x(r);
  return std::uint64_t{r} << 32;
}

// Sixteen bytes are L x^64 + H, L the first eight. Moved ahead by D bits they are congruent to
// L (x^(D+64) mod P) + H (x^D mod P). A product of reversed registers comes out multiplied by x, hence the one less.
struct Fold {
  std::uint64_t first, second;
};
constexpr Fold fold_over(unsigned bits) { return {power_of_x(bits + 63), power_of_x(bits - 1)}; }
constexpr Fold kFold64Bytes = fold_over(512), kFold16Bytes = fold_over(128);

__attribute__((target("pclmul,sse4.1"))) inline __m128i load(const std::uint8_t* p) noexcept {
  __m128i v;
  std::memcpy(&v, p, sizeof v);
  return v;
}

__attribute__((target("pclmul,sse4.1"))) inline __m128i constants(Fold f) noexcept {
  return _mm_set_epi64x(static_cast<long long>(f.second), static_cast<long long>(f.first));
}

__attribute__((target("pclmul,sse4.1"))) inline __m128i ahead(__m128i v, __m128i by, __m128i next) noexcept {
  return _mm_xor_si128(next, _mm_xor_si128(_mm_clmulepi64_si128(v, by, 0x00), _mm_clmulepi64_si128(v, by, 0x11)));
}

/// What the bytes are folded to, sixteen bytes with the same remainder, and the rest of them go through the tables.
__attribute__((target("pclmul,sse4.1"))) std::uint32_t edc_by_multiplying(Bytes bytes) noexcept {
  if (bytes.size() < 64) return edc_by_tables(bytes);
  const std::uint8_t* p = bytes.data();
  std::size_t left = bytes.size() - 64;
  __m128i a = load(p), b = load(p + 16), c = load(p + 32), d = load(p + 48);
  const __m128i by_64 = constants(kFold64Bytes), by_16 = constants(kFold16Bytes);
  for (p += 64; left >= 64; p += 64, left -= 64) {
    a = ahead(a, by_64, load(p));
    b = ahead(b, by_64, load(p + 16));
    c = ahead(c, by_64, load(p + 32));
    d = ahead(d, by_64, load(p + 48));
  }
  a = ahead(ahead(ahead(a, by_16, b), by_16, c), by_16, d);
  for (; left >= 16; p += 16, left -= 16) a = ahead(a, by_16, load(p));
  std::array<std::uint8_t, 16> folded;
  std::memcpy(folded.data(), &a, sizeof a);
  return go_on_by_tables(go_on_by_tables(0, folded), {p, left});
}

bool can_multiply() noexcept {
  __builtin_cpu_init();
  return __builtin_cpu_supports("pclmul") != 0 && __builtin_cpu_supports("sse4.1") != 0;
}

#endif

}  // namespace

std::uint32_t edc_by_tables(Bytes bytes) noexcept { return go_on_by_tables(0, bytes); }

#ifdef LACUNA_EDC_CLMUL
bool edc_multiplies() noexcept {
  static const bool multiplies = can_multiply();
  return multiplies;
}
std::uint32_t edc(Bytes bytes) noexcept { return edc_multiplies() ? edc_by_multiplying(bytes) : edc_by_tables(bytes); }
#else
bool edc_multiplies() noexcept { return false; }
std::uint32_t edc(Bytes bytes) noexcept { return edc_by_tables(bytes); }
#endif

}  // namespace lacuna::cd
