# SPDX-License-Identifier: GPL-3.0-or-later
"""The vocabulary: states, views, evidence, basis; runs, dates and findings."""
from __future__ import annotations

import enum
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import Any

from . import _ffi

#: Bytes of user data in a sector; every LBA counts these.
SECTOR_BYTES = 2048


class _Word(enum.IntEnum):
    @property
    def word(self) -> str:
        """As it stands in JSON, text and docs."""
        return self.name.lower()


class SectorState(_Word):
    """What is known of a sector. The greater of two is the worse."""
    GOOD = 0
    REPAIRED = 1
    SUSPECT = 2
    BAD = 3
    UNREAD = 4
    ABSENT = 5

    @property
    def has_bytes(self) -> bool:
        """Whether its bytes can be had."""
        return self <= SectorState.SUSPECT


class FileState(_Word):
    """What is known of a file. WHOLE is a promise: every byte is in its place and was read."""
    WHOLE = 0
    DOUBTFUL = 1
    DAMAGED = 2
    LOST = 3
    UNLOCATED = 4


class View(_Word):
    """A name space over a volume; ALL as an option only."""
    ALL = 0
    ROCKRIDGE = 1
    UDF = 2
    JOLIET = 3
    ENHANCED = 4
    ISO9660 = 5


class Evidence(_Word):
    """Where a file is known from."""
    TREE = 0
    VIEW = 1
    PATHTABLE = 2
    SESSION = 3
    SCAN = 4
    TWIN = 5


class Basis(_Word):
    """What a `good` rests on. With ASSUMED, whole means only that nothing in the image speaks against it."""
    EDC = 0
    MAP = 1
    ASSUMED = 2


class NodeKind(_Word):
    """What a node of the tree is."""
    DIRECTORY = 0
    FILE = 1
    SYMLINK = 2
    BLOCK_DEVICE = 3
    CHAR_DEVICE = 4
    FIFO = 5
    SOCKET = 6


class FileFlag(enum.IntFlag):
    """Facts of a file that are either so or not."""
    HIDDEN = 1
    ASSOCIATED = 2
    BOOT = 8
    SIZE_GUESSED = 16
    INCOMPLETE = 64
    DELETED = 256
    STREAM = 512
    SYSTEM = 1024
    NAME_MADE = 4096
    RAW_SECTORS = 8192
    HAS_MODE = 65536


class Severity(_Word):
    """How much a finding matters."""
    NOTE = 0
    DOUBT = 1
    LOSS = 2


@dataclass(frozen=True)
class SectorRun:
    """`count` sectors from `first_lba` on in one state."""
    first_lba: int
    count: int
    state: SectorState


@dataclass(frozen=True)
class ByteRun:
    """`length` bytes of a file from `offset` on in one state."""
    offset: int
    length: int
    state: SectorState


@dataclass(frozen=True)
class Finding:
    """Something that the reading survived."""
    severity: Severity
    kind: str
    subject: str
    lba: int | None
    clause: str
    text: str


def datetime_of(t: Any) -> datetime | None:
    """A date in the zone that it was written in; None when the disc names none."""
    if not t.known:
        return None
    zone = timezone(timedelta(minutes=t.zone_minutes)) if abs(t.zone_minutes) < 24 * 60 else timezone.utc
    try:
        since = timedelta(seconds=t.seconds, microseconds=t.nanoseconds // 1000)
        return (datetime(1970, 1, 1, tzinfo=timezone.utc) + since).astimezone(zone)
    except OverflowError:
        return None


def finding_of(f: Any) -> Finding:
    """From the library's struct."""
    return Finding(Severity(f.severity), str(f.kind), str(f.subject), f.lba if f.has_lba else None, str(f.clause),
                   str(f.text))


def sector_runs_of(handle: Any) -> list[SectorRun]:
    """Takes the library's runs, and frees them."""
    try:
        data = _ffi.library.lacuna_runs_data(handle)
        return [SectorRun(data[i].first_lba, data[i].count, SectorState(data[i].state))
                for i in range(_ffi.library.lacuna_runs_count(handle))]
    finally:
        _ffi.library.lacuna_runs_free(handle)
