# SPDX-License-Identifier: GPL-3.0-or-later
"""What can fail: one exception a code of the library. Damage is no failure: it is in the states."""
from __future__ import annotations

import enum


class ErrorCode(enum.IntEnum):
    """What the caller can do about a failure; the numbers are those of lacuna.h."""
    USAGE = 1
    NOT_READABLE = 2
    NO_FILE_SYSTEM = 3
    BAD_INPUT = 4
    CANNOT_WRITE = 5
    CANCELLED = 6
    OUT_OF_MEMORY = 7
    CALLBACK_FAILED = 8
    MISSING_BYTES = 9
    NOT_FOUND = 10
    INTERNAL = 11


class LacunaError(Exception):
    """Any failure of the library. `code` says what can be done about it, the text what happened."""
    code: ErrorCode = ErrorCode.INTERNAL


class UsageError(LacunaError, ValueError):
    """The request itself is wrong, or a thing is used after it was closed."""
    code = ErrorCode.USAGE


class NotReadableError(LacunaError):
    """An input can't be opened or is of a kind that is not taken."""
    code = ErrorCode.NOT_READABLE


class NoFileSystemError(LacunaError):
    """The input was read, but nothing in it is a file system."""
    code = ErrorCode.NO_FILE_SYSTEM


class BadInputError(LacunaError):
    """A text input (a sector map, a manifest) has a bad line."""
    code = ErrorCode.BAD_INPUT


class CannotWriteError(LacunaError):
    """The target can't be written."""
    code = ErrorCode.CANNOT_WRITE


class CancelledError(LacunaError):
    """A progress function gave False."""
    code = ErrorCode.CANCELLED


class OutOfMemoryError(LacunaError, MemoryError):
    """No memory. Nothing is lost; the call may be repeated."""
    code = ErrorCode.OUT_OF_MEMORY


class CallbackError(LacunaError):
    """A function of the caller failed. Mostly its own exception is raised instead."""
    code = ErrorCode.CALLBACK_FAILED


class MissingBytesError(LacunaError):
    """The bytes that were asked for can't be had."""
    code = ErrorCode.MISSING_BYTES


class NotFoundError(LacunaError, KeyError):
    """The disc has nothing of that path."""
    code = ErrorCode.NOT_FOUND
    __str__ = Exception.__str__  # KeyError quotes its text


class InternalError(LacunaError):
    """The system refused something, or the library has a fault."""
    code = ErrorCode.INTERNAL


BY_CODE: dict[int, type[LacunaError]] = {
    int(kind.code): kind
    for kind in (UsageError, NotReadableError, NoFileSystemError, BadInputError, CannotWriteError, CancelledError,
                 OutOfMemoryError, CallbackError, MissingBytesError, NotFoundError, InternalError)
}
