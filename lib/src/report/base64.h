// SPDX-License-Identifier: GPL-3.0-or-later
// Base64 with padding (RFC 4648 4), as data addresses and the hashes of a page's policy have it.
#pragma once

#include <openssl/evp.h>

#include <string>

#include "base/bytes.h"

namespace lacuna::report {

inline std::string base64(Bytes bytes) {
  std::string text(4 * ((bytes.size() + 2) / 3), '\0');
  // Writes a NUL behind the text, where a std::string has one.
  EVP_EncodeBlock(reinterpret_cast<unsigned char*>(text.data()), bytes.data(), static_cast<int>(bytes.size()));
  return text;
}

}  // namespace lacuna::report
