# SPDX-License-Identifier: GPL-3.0-or-later
"""Sectors from Python: what an object must have so that Image.from_source() takes it."""
from __future__ import annotations

import ctypes
import itertools
from typing import Any, Iterable, Protocol, Sequence, Union

from . import _ffi
from ._handle import note_failure
from .words import SECTOR_BYTES, SectorRun

Buffer = Union[bytes, bytearray, memoryview]


class SectorSource(Protocol):
    """Sectors [first_lba, end_lba) of a disc. read() may be called by several threads at once."""

    @property
    def first_lba(self) -> int:
        """The first sector."""

    @property
    def end_lba(self) -> int:
        """One past the last."""

    def read(self, lba: int, count: int) -> Buffer | tuple[Buffer, Iterable[int]]:
        """The bytes of `count` sectors, and their states (SectorState); without states those that are there in full are
        good. Sectors that are not there, or without a state, are bad. An exception ends the call that needed them."""


# Single operations of these are safe from any thread, also from a collector that runs in the middle of another: no lock.
_keys = itertools.count(1)
_sources: dict[int, SectorSource] = {}  # until the library releases them


def _read(key: int, lba: int, count: int, to: int, states_to: int) -> int:
    try:
        given = _sources[key].read(lba, count)
        data, states = given if isinstance(given, tuple) else (given, None)
        raw = bytes(memoryview(data).cast("B")[: count * SECTOR_BYTES])
        ctypes.memmove(to, raw, len(raw))
        whole = len(raw) // SECTOR_BYTES
        marks = bytes(whole) if states is None else bytes(s if 0 <= s < 255 else 255 for s in states)[:count]
        # Whatever state it has, a sector whose bytes were not given is none that has bytes.
        marks = bytes(m if m > 2 or i < whole else 255 for i, m in enumerate(marks))
        ctypes.memmove(states_to, marks, len(marks))
        return 0
    except BaseException as e:
        return note_failure(e)


def _release(key: int) -> None:
    _sources.pop(key, None)


# One of each for all sources, so that none is freed while it runs.
_read_function = _ffi.ReadFunction(_read)
_release_function = _ffi.ReleaseFunction(_release)


def register(source: SectorSource, known: Sequence[SectorRun], name: str, last_sector_bytes: int) -> tuple[Any, int]:
    """The library's struct for a source, which is kept until it is released, and its key."""
    listed = [_ffi.SectorRun(r.first_lba, r.count, r.state, 0) for r in known]
    runs = (_ffi.SectorRun * len(listed))(*listed) if listed else None
    key = next(_keys)
    _sources[key] = source
    named = _ffi.text(name)
    struct = _ffi.Source(first_lba=source.first_lba, end_lba=source.end_lba, known=runs, known_count=len(known),
                         name=named, user=key, read=_read_function, release=_release_function,
                         last_sector_bytes=last_sector_bytes)
    struct.kept = (runs, named)
    return struct, key


def forget(key: int) -> None:
    """For a source that the library did not take."""
    _release(key)
