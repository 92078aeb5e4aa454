// SPDX-License-Identifier: GPL-3.0-or-later
/// @file
/// Version, texts and errors of the C interface; lacuna/lacuna.h has its rules.
#ifndef LACUNA_C_ERROR_H
#define LACUNA_C_ERROR_H

#include <stddef.h>
#include <stdint.h>

#include "lacuna/export.h"

#ifdef __cplusplus
extern "C" {
#endif

/// Counts changes of this interface that programs must be compiled anew for; it is also the number behind the shared
/// library's name. Additions do not change it.
#define LACUNA_ABI_VERSION 1
/// LACUNA_ABI_VERSION of the library that runs.
LACUNA_API uint32_t lacuna_abi_version(void);
/// The release, "0.1.0".
LACUNA_API const char* lacuna_version(void);

/// Text: `bytes` bytes at `data`, UTF-8. Given by the library, data is never NULL, and a NUL stands behind the text.
/// Given to it, data may be NULL when bytes is 0.
typedef struct lacuna_string {
  const char* data;  ///< First byte.
  size_t bytes;      ///< Without a NUL behind.
} lacuna_string;

/// The text up to its NUL; of NULL, the empty one.
static inline lacuna_string lacuna_text(const char* text) {
  lacuna_string s;
  s.data = text;
  s.bytes = 0;
  while (text != NULL && text[s.bytes] != '\0') ++s.bytes;
  return s;
}

/// What the caller can do about a failure.
typedef int32_t lacuna_code;
/// Values of ::lacuna_code.
enum lacuna_code_value {
  LACUNA_OK = 0,               ///< No failure.
  LACUNA_USAGE = 1,            ///< The request itself is wrong; change it.
  LACUNA_NOT_READABLE = 2,     ///< An input can't be opened or is of a kind that is not taken.
  LACUNA_NO_FILE_SYSTEM = 3,   ///< The input was read, but nothing in it is a file system.
  LACUNA_BAD_INPUT = 4,        ///< A text input (a sector map, a manifest) has a bad line; the message names it.
  LACUNA_CANNOT_WRITE = 5,     ///< The target can't be written: full, read-only, or something is already there.
  LACUNA_CANCELLED = 6,        ///< A callback asked to stop.
  LACUNA_OUT_OF_MEMORY = 7,    ///< No memory. Nothing is lost; the call may be repeated.
  LACUNA_CALLBACK_FAILED = 8,  ///< A callback failed; see lacuna_error_callback_code().
  LACUNA_MISSING_BYTES = 9,    ///< The bytes that were asked for can't be had.
  LACUNA_NOT_FOUND = 10,       ///< The disc has nothing of that path.
  LACUNA_INTERNAL = 11         ///< The system refused something (threads, say), or the library has a fault.
};

/// Details of a failure. Constant.
typedef struct lacuna_error lacuna_error;

/// The code in words, for people; of unknown codes too. Never NULL, never freed.
LACUNA_API const char* lacuna_error_text(lacuna_code code);
/// Of NULL: ::LACUNA_OK.
LACUNA_API lacuna_code lacuna_error_code(const lacuna_error* error);
/// One line, no trailing full stop; names the file and, where there is one, the LBA. Lives as long as the error.
LACUNA_API lacuna_string lacuna_error_message(const lacuna_error* error);
/// What the caller's callback gave; 0 when none was the reason.
LACUNA_API int32_t lacuna_error_callback_code(const lacuna_error* error);
/// Frees an error; NULL is fine.
LACUNA_API void lacuna_error_free(lacuna_error* error);

#ifdef __cplusplus
}
#endif

#endif
