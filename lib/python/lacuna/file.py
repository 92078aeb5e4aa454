# SPDX-License-Identifier: GPL-3.0-or-later
"""Files of a disc: what each is worth, and its bytes with their states."""
from __future__ import annotations

import errno
import io
from ctypes import POINTER, byref, c_char, c_size_t, create_string_buffer
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from . import _ffi
from ._handle import Handle
from .errors import MissingBytesError, UsageError
from .words import Basis, ByteRun, Evidence, FileFlag, FileState, NodeKind, SectorState, View, datetime_of

_RUNS = 64  # asked for at a time
_PIECE = 1 << 20  # bytes of a read at a time
_ZEROS, _NOWHERE = (1 << 64) - 1, (1 << 64) - 2


@dataclass(frozen=True)
class Extent:
    """A piece of a file on the disc. `position` is LBA * 2048 + byte; None: never recorded, reads as zeros; -1: not
    known any more."""
    offset: int
    position: int | None
    length: int
    unit_bytes: int
    gap_bytes: int
    raw_sectors: bool


@dataclass(frozen=True)
class FileInfo:
    """What is known of a file. Dates are in the zone that they were written in."""
    path: str
    size: int
    state: FileState
    missing_bytes: int
    suspect_bytes: int
    basis: Basis
    evidence: Evidence
    view: View
    kind: NodeKind
    session: int | None
    flags: FileFlag
    version: int
    modified: datetime | None
    created: datetime | None
    accessed: datetime | None
    symlink_target: str
    mode: int | None


@dataclass(frozen=True)
class ReadResult:
    """Bytes of a file and what they are worth: missing ones are zero, and `runs` covers all of them in order. Good
    stands for repaired ones too."""
    data: bytes
    runs: list[ByteRun]

    @property
    def all_there(self) -> bool:
        """Whether no byte is missing."""
        return all(run.state.has_bytes for run in self.runs)


def _file_info(path: str, i: Any) -> FileInfo:
    flags = FileFlag(i.flags)
    return FileInfo(path, i.size, FileState(i.state), i.missing_bytes, i.suspect_bytes, Basis(i.basis),
                    Evidence(i.evidence), View(i.view), NodeKind(i.kind), i.session or None, flags, i.version,
                    datetime_of(i.modified), datetime_of(i.created), datetime_of(i.accessed), str(i.symlink_target),
                    i.mode if FileFlag.HAS_MODE in flags else None)


class File(Handle):
    """A file or directory of a disc. May be used from several threads; reads of one File wait for each other."""

    def __init__(self, handle: int | None) -> None:
        super().__init__(handle, "lacuna_file_free")
        self.path = str(_ffi.library.lacuna_file_path(handle))  #: '/' between names, no leading one.
        info = _ffi.FileInfo()
        self._call("file_get_info", byref(info))
        self.info = _file_info(self.path, info)  #: All that is known of it.

    def __repr__(self) -> str:
        return f"<lacuna.File {self.path!r} {self.state.word}>"

    @property
    def size(self) -> int:
        """Content bytes."""
        return self.info.size

    @property
    def state(self) -> FileState:
        """What it is worth."""
        return self.info.state

    @property
    def is_directory(self) -> bool:
        """Whether it is one."""
        return self.info.kind == NodeKind.DIRECTORY

    def gaps(self) -> list[ByteRun]:
        """Its stretches that are missing or suspect, in order, as judged."""
        first, count = POINTER(_ffi.ByteRun)(), c_size_t()
        self._call("file_gaps", byref(first), byref(count))
        return [ByteRun(first[i].offset, first[i].bytes, SectorState(first[i].state)) for i in range(count.value)]

    def extents(self) -> list[Extent]:
        """Where it lies."""
        first, count = POINTER(_ffi.Extent)(), c_size_t()
        self._call("file_extents", byref(first), byref(count))
        return [Extent(e.offset, None if e.position == _ZEROS else -1 if e.position == _NOWHERE else e.position,
                       e.bytes, e.unit_bytes, e.gap_bytes, bool(e.raw_sectors))
                for e in (first[i] for i in range(count.value))]

    def doubts(self) -> list[str]:
        """Why it is doubtful, in words."""
        first, count = POINTER(_ffi.Text)(), c_size_t()
        self._call("file_doubts", byref(first), byref(count))
        return [str(first[i]) for i in range(count.value)]

    def read(self, offset: int = 0, length: int | None = None) -> ReadResult:
        """Bytes from `offset` on, to the end or `length` of them, with their states. Missing bytes are zero."""
        if offset < 0 or (length is not None and length < 0):
            raise UsageError("offset and length are not negative")
        wanted = max(0, self.size - offset) if length is None else min(length, max(0, self.size - offset))
        pieces: list[bytes] = []
        runs: list[ByteRun] = []
        buffer, listed = create_string_buffer(min(wanted, _PIECE)), (_ffi.ByteRun * _RUNS)()
        got, run_count = c_size_t(), c_size_t()
        while wanted > 0:
            self._call("file_read_runs", offset, buffer, min(wanted, len(buffer)), byref(got), listed, _RUNS,
                       byref(run_count))
            if got.value == 0:
                break
            pieces.append(buffer.raw[: got.value])
            for r in listed[: run_count.value]:
                state = SectorState(r.state)
                if runs and runs[-1].state == state:
                    runs[-1] = ByteRun(runs[-1].offset, runs[-1].length + r.bytes, state)
                else:
                    runs.append(ByteRun(r.offset, r.bytes, state))
            offset += got.value
            wanted -= got.value
        return ReadResult(b"".join(pieces), runs)

    def open(self) -> FileStream:
        """A file-like object. A read gives what there is before a missing byte; one at it raises OSError (EIO)."""
        return FileStream(self)


class FileStream(io.RawIOBase):
    """The bytes of a File, which it does not close. Raises OSError (errno EIO) exactly at bytes that are missing;
    seek() goes past them. For one thread."""

    def __init__(self, file: File) -> None:
        super().__init__()
        if file.is_directory:
            raise IsADirectoryError(errno.EISDIR, "it is a directory", file.path)
        self._file = file
        self._at = 0

    @property
    def name(self) -> str:
        """The file's path."""
        return self._file.path

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        start = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._file.size}.get(whence)
        if start is None or start + offset < 0:
            raise ValueError("no place to seek to")
        self._at = start + offset
        return self._at

    def readinto(self, buffer: Any) -> int:
        if self.closed:
            raise ValueError("I/O operation on a closed stream")
        view = memoryview(buffer).cast("B")
        if len(view) == 0 or self._at >= self._file.size:
            return 0
        got = c_size_t()
        try:
            self._file._call("file_read", self._at, (c_char * len(view)).from_buffer(view), len(view), byref(got))
        except MissingBytesError as e:
            raise OSError(errno.EIO, str(e), self._file.path) from e
        self._at += got.value
        return got.value
