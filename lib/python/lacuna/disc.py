# SPDX-License-Identifier: GPL-3.0-or-later
"""Discs: what an image holds, read and judged."""
from __future__ import annotations

import enum
import json
import os
from ctypes import byref, c_uint64, c_void_p
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Iterable, Iterator

from . import _ffi
from ._handle import Handle, Progress, note_failure, progress_function
from .file import File
from .image import Image, Path
from .pull import Arrangement, PullReport
from .words import (Basis, FileState, Finding, SectorRun, View, datetime_of, finding_of, sector_runs_of)

_NONE = 0xFFFFFFFF


class Scan(enum.IntEnum):
    """When to go through all sectors for what is left of lost structures."""
    AUTO = 0
    ALWAYS = 1
    NEVER = 2


@dataclass(frozen=True)
class StateCount:
    """Files of one state."""
    files: int
    bytes: int
    missing_bytes: int


@dataclass(frozen=True)
class Volume:
    """What one volume says of itself."""
    volume_id: str
    system_id: str
    volume_set_id: str
    publisher_id: str
    preparer_id: str
    application_id: str
    session: int
    session_start_lba: int
    in_tree: bool
    view: View
    descriptor_lba: int
    logical_block_bytes: int
    space_bytes: int
    created: datetime | None
    modified: datetime | None


def _flag(bit: int, given: bool) -> int:
    return bit if given else 0


def _globs(globs: str | Iterable[str]) -> list[str]:
    return [globs] if isinstance(globs, str) else list(globs)


class Disc(Handle):
    """A disc, whose file systems were read and whose files were judged. May be used from several threads."""

    def __init__(self, image: Image, *, view: View = View.ALL, session: int | None = None, all_sessions: bool = False,
                 session_starts: Iterable[int] = (), names_charset: str = "", deleted: bool = False,
                 streams: bool = False, unclaimed: bool = False, look_inside: bool = True, scan: Scan = Scan.AUTO,
                 threads: int = 0, progress: Progress | None = None) -> None:
        """Reads and judges an image, which may be closed before the disc."""
        starts = list(session_starts)
        array = (c_uint64 * len(starts))(*starts) if starts else None
        charset = _ffi.text(names_charset)
        options = _ffi.DiscOptions(
            names_charset=charset, session_starts=array, session_start_count=len(starts),
            progress=progress_function(progress), threads=threads, session=session or 0, view=view, scan=scan,
            flags=_flag(1, all_sessions) | _flag(2, deleted) | _flag(4, streams) | _flag(8, unclaimed)
            | _flag(16, not look_inside))
        handle = c_void_p()
        image._call("disc_open", byref(options), byref(handle))
        super().__init__(handle.value, "lacuna_disc_free")

    def _info(self) -> Any:
        info = _ffi.DiscInfo()
        self._call("disc_get_info", byref(info))
        return info

    @property
    def counts(self) -> dict[FileState, StateCount]:
        """Over all that are not directories."""
        states = self._info().states
        return {s: StateCount(states[s].files, states[s].bytes, states[s].missing_bytes) for s in FileState}

    @property
    def hurt_directories(self) -> int:
        """Directories of which something can't be read and is not known from elsewhere."""
        return int(self._info().hurt_directories)

    @property
    def basis(self) -> Basis:
        """What `good` rests on."""
        return Basis(self._info().basis)

    @property
    def scan_reason(self) -> str:
        """Why all sectors were looked through; empty: they were not."""
        return str(self._info().scan_reason)

    @property
    def also_present(self) -> list[str]:
        """Other file systems and partitions seen beside what was read."""
        info = self._info()
        return [str(_ffi.library.lacuna_disc_also_present(self._pointer, i)) for i in range(info.also_present_count)]

    def volumes(self) -> list[Volume]:
        """What the volumes say of themselves, sessions in order."""
        return [self._volume(i) for i in range(self._info().volume_count)]

    @property
    def main_volume(self) -> Volume | None:
        """The one that stands for the disc; None when none was read."""
        number = self._info().main_volume
        return None if number == _NONE else self._volume(number)

    def _volume(self, index: int) -> Volume:
        v = _ffi.Volume()
        self._call("disc_volume", index, byref(v))
        return Volume(str(v.volume_id), str(v.system_id), str(v.volume_set_id), str(v.publisher_id),
                      str(v.preparer_id), str(v.application_id), v.session, v.session_start_lba, bool(v.in_tree),
                      View(v.view), v.descriptor_lba, v.logical_block_bytes, v.space_bytes, datetime_of(v.created),
                      datetime_of(v.modified))

    def findings(self) -> list[Finding]:
        """What the reading survived."""
        found = []
        for i in range(self._info().finding_count):
            finding = _ffi.Finding()
            self._call("disc_finding", i, byref(finding))
            found.append(finding_of(finding))
        return found

    def sector_runs(self, first_lba: int, end_lba: int) -> list[SectorRun]:
        """The sector states that the files were judged by."""
        runs = c_void_p()
        self._call("disc_runs", first_lba, end_lba, byref(runs))
        return sector_runs_of(runs)

    def files(self, globs: str | Iterable[str] = (), *, states: Iterable[FileState] = (), directories: bool = False,
              ignore_case: bool = False) -> Iterator[File]:
        """Its files in the order of listings: parents before children, siblings by name."""
        patterns = _globs(globs)
        array = _ffi.texts(patterns)
        bits = 0
        for state in states:
            bits |= 1 << state
        options = _ffi.FileFilter(globs=array, glob_count=len(patterns), states=bits,
                                  flags=_flag(1, directories) | _flag(2, ignore_case))
        handle = c_void_p()
        self._call("disc_files", byref(options), byref(handle))
        return _Walk(handle.value)

    def __iter__(self) -> Iterator[File]:
        return self.files()

    def find(self, path: str) -> File:
        """The file of a path. Raises NotFoundError."""
        handle = c_void_p()
        self._call("disc_find", _ffi.text(path), byref(handle))
        return File(handle.value)

    __getitem__ = find

    def report(self, which: str = "survey", form: str = "json") -> str:
        """What the command reports: "survey", "files" or "hits" as "text", "json", "ndjson" or "csv"."""
        pieces: list[bytes] = []

        def write(_user: Any, piece: Any) -> int:
            try:
                pieces.append(piece.data[: piece.bytes])
                return 0
            except BaseException as e:
                return note_failure(e)

        self._call("disc_report", ("survey", "files", "hits").index(which),
                   ("text", "json", "ndjson", "csv").index(form), _ffi.WriteFunction(write), None)
        return b"".join(pieces).decode("utf-8")

    def survey(self) -> dict[str, Any]:
        """What the disc is, what is hurt and what can be had: "lacuna/survey/1"."""
        survey: dict[str, Any] = json.loads(self.report("survey"))
        return survey

    def pull(self, to: Path, globs: str | Iterable[str] = (), *, damaged: bool = False, skip_programs: bool = False,
             portable_names: bool = False, replace: bool = False, flac: bool = False, ignore_case: bool = False,
             arrange: Arrangement = Arrangement.TREE, once: bool = False, bag: bool = False,
             bag_info: Iterable[str] = (), threads: int = 0, progress: Progress | None = None) -> PullReport:
        """Gets files out into a folder, with a manifest and checksums. Run again, it does what is missing.

        once: equal whole files are stored once. bag: the folder becomes a BagIt bag; bag_info: "Label: value" each.
        """
        patterns, elements = _globs(globs), list(bag_info)
        element_array = _ffi.texts(elements)
        array, folder = _ffi.texts(patterns), _ffi.text(os.fsencode(to))
        options = _ffi.PullOptions(
            to=folder, globs=array, glob_count=len(patterns), progress=progress_function(progress), threads=threads,
            bag_elements=element_array, bag_element_count=len(elements), arrangement=arrange,
            flags=_flag(2, ignore_case) | _flag(4, damaged) | _flag(8, skip_programs) | _flag(16, portable_names)
            | _flag(32, replace) | _flag(64, flac) | _flag(128, bag) | _flag(256, once))
        handle = c_void_p()
        self._call("disc_pull", byref(options), byref(handle))
        return PullReport._of(handle)


class _Walk(Handle, Iterator[File]):
    """Walks over files. For one thread."""

    def __init__(self, handle: int | None) -> None:
        super().__init__(handle, "lacuna_files_free")

    def __next__(self) -> File:
        if self.closed:
            raise StopIteration
        file = c_void_p()
        self._call("files_next", byref(file))
        if file.value is None:
            self.close()
            raise StopIteration
        return File(file.value)


def open_disc(paths: Path | Iterable[Path], *, maps: Path | Iterable[Path] = (), starts_at: int = 0, threads: int = 0,
              progress: Progress | None = None, **options: Any) -> Disc:
    """Opens an image and reads its disc in one go; `options` are those of Disc."""
    with Image(paths, maps=maps, starts_at=starts_at, threads=threads, progress=progress) as image:
        return Disc(image, threads=threads, progress=progress, **options)
