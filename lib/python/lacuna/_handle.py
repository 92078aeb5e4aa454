# SPDX-License-Identifier: GPL-3.0-or-later
"""Calls, handles and callbacks: how exceptions get through the C interface in both directions."""
from __future__ import annotations

import collections
import itertools
import threading
from ctypes import byref, c_void_p
from typing import Any, Callable, Optional, TypeVar

from . import _ffi
from .errors import BY_CODE, ErrorCode, InternalError, UsageError

#: Gets what is done, how many bytes are, and how many are expected (0: not known). False cancels.
Progress = Callable[[str, int, int], Optional[bool]]
Self = TypeVar("Self", bound="Handle")

_lock = threading.Lock()
_numbers = itertools.count(1000)  # beyond the library's own codes
_failures: collections.OrderedDict[int, BaseException] = collections.OrderedDict()


def note_failure(failure: BaseException) -> int:
    """Keeps an exception of a callback; gives the number that the callback gives the library."""
    with _lock:
        number = next(_numbers)
        _failures[number] = failure
        while len(_failures) > 256:  # of several that fail at once the library passes on one
            _failures.popitem(last=False)
        return number


def call(function: str, *arguments: Any) -> None:
    """Calls a function that takes an error last, and raises what it gives."""
    error = c_void_p()
    code = getattr(_ffi.library, "lacuna_" + function)(*arguments, byref(error))
    if code == 0:
        return
    message = str(_ffi.library.lacuna_error_message(error))
    given = _ffi.library.lacuna_error_callback_code(error)
    _ffi.library.lacuna_error_free(error)
    if code == ErrorCode.CALLBACK_FAILED:
        with _lock:
            failure = _failures.pop(given, None)
        if failure is not None:
            raise failure
    raise BY_CODE.get(code, InternalError)(message)


def progress_function(progress: Progress | None) -> Any:
    """As the library takes it; keep the result as long as the call."""
    if progress is None:
        return _ffi.no_progress()
    told = progress

    def called(_user: Any, task: Any, done: int, total: int) -> int:
        try:
            return int(ErrorCode.CANCELLED) if told(str(task), done, total) is False else 0
        except BaseException as e:  # also KeyboardInterrupt: it goes on behind the call
            return note_failure(e)

    return _ffi.ProgressFunction(called)


class Handle:
    """Something of the library that is closed when it is no longer needed: by `with`, close(), or the collector. It may
    be closed while other threads use it; the last of them then frees it."""

    def __init__(self, pointer: int | None, free: str) -> None:
        self._pointer = pointer
        self._free = getattr(_ffi.library, free)
        self._uses = 0
        self._closed = False
        self._mutex = threading.Lock()

    def _call(self, function: str, *arguments: Any) -> None:
        """Calls a function that takes this handle first."""
        with self._mutex:
            if self._closed:
                raise UsageError(f"this {type(self).__name__} is closed")
            self._uses += 1
        try:
            call(function, self._pointer, *arguments)
        finally:
            self._leave()

    def _leave(self) -> None:
        with self._mutex:
            self._uses -= 1
            last = self._closed and self._uses == 0
        if last:
            self._release()

    def _release(self) -> None:
        pointer, self._pointer = self._pointer, None
        self._free(pointer)

    @property
    def closed(self) -> bool:
        """Whether close() was called."""
        return self._closed

    def close(self) -> None:
        """Frees it; what was made of it stays usable. May be called again."""
        with self._mutex:
            last = not self._closed and self._uses == 0
            self._closed = True
        if last:
            self._release()

    def __enter__(self: Self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __del__(self) -> None:
        if hasattr(self, "_mutex"):
            self.close()
