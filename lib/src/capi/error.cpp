// SPDX-License-Identifier: GPL-3.0-or-later
#include <array>
#include <cstdint>
#include <memory>

#include "capi/guard.h"
#include "capi/text.h"

struct lacuna_error {
  lacuna_code code = LACUNA_INTERNAL;
  std::int32_t callback_code = 0;
  std::string message;
};

namespace lacuna::capi {
namespace {

constexpr std::array<const char*, 12> kCodeTexts{
    "no error",
    "the request is wrong",
    "the input can't be read",
    "no file system was found",
    "the input has a bad line",
    "the target can't be written",
    "cancelled",
    "out of memory",
    "a callback failed",
    "the bytes are missing",
    "there is no such file",
    "the system or the library failed",
};

// An error that needs no memory; it is never freed.
const lacuna_error& no_memory_error() noexcept {
  static const lacuna_error error{LACUNA_OUT_OF_MEMORY, 0, "out of memory"};  // short enough to need none
  return error;
}

lacuna_code give_error(lacuna_error** to, lacuna_code code, std::string message, std::int32_t callback_code = 0) {
  if (to != nullptr)
    *to = std::make_unique<lacuna_error>(lacuna_error{code, callback_code, std::move(message)}).release();
  return code;
}

lacuna_code give_callback_failure(lacuna_error** to, std::int32_t given) {
  if (given == LACUNA_CANCELLED) return give_error(to, LACUNA_CANCELLED, "cancelled by a callback", given);
  return give_error(to, LACUNA_CALLBACK_FAILED, "a callback gave " + std::to_string(given), given);
}

lacuna_code settle(lacuna_error** error) {
  try {
    throw;
  } catch (const Failure& f) {
    return give_error(error, f.code, f.message);
  } catch (const CallbackFailure& f) {
    return give_callback_failure(error, f.given);
  } catch (const std::bad_alloc&) {
    throw;
  } catch (const std::exception& e) {
    return give_error(error, LACUNA_INTERNAL, e.what());
  } catch (...) {
    return give_error(error, LACUNA_INTERNAL, "unknown failure");
  }
}

}  // namespace

void fail_usage(std::string message) { throw Failure{LACUNA_USAGE, std::move(message)}; }

lacuna_code code_of(ErrorCode code) noexcept {
  switch (code) {
    case ErrorCode::kUsage:
      return LACUNA_USAGE;
    case ErrorCode::kNotReadable:
      return LACUNA_NOT_READABLE;
    case ErrorCode::kNoFileSystem:
      return LACUNA_NO_FILE_SYSTEM;
    case ErrorCode::kBadInput:
      return LACUNA_BAD_INPUT;
    case ErrorCode::kCannotWrite:
      return LACUNA_CANNOT_WRITE;
    case ErrorCode::kCancelled:
      return LACUNA_CANCELLED;
  }
  return LACUNA_INTERNAL;
}

lacuna_code settle_exception(lacuna_error** error) noexcept {
  try {
    return settle(error);
  } catch (...) {  // no memory, or none to say what happened
    if (error != nullptr) *error = const_cast<lacuna_error*>(&no_memory_error());
    return LACUNA_OUT_OF_MEMORY;
  }
}

}  // namespace lacuna::capi

using namespace lacuna::capi;

const char* lacuna_error_text(lacuna_code code) {
  return code < 0 || static_cast<std::size_t>(code) >= kCodeTexts.size() ? "unknown error"
                                                                         : kCodeTexts[static_cast<std::size_t>(code)];
}

lacuna_code lacuna_error_code(const lacuna_error* error) { return error == nullptr ? LACUNA_OK : error->code; }

lacuna_string lacuna_error_message(const lacuna_error* error) {
  return error == nullptr ? kNoText : to_c(error->message);
}

std::int32_t lacuna_error_callback_code(const lacuna_error* error) {
  return error == nullptr ? 0 : error->callback_code;
}

void lacuna_error_free(lacuna_error* error) {
  if (error != &no_memory_error()) delete error;
}
