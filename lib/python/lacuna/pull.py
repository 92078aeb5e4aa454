# SPDX-License-Identifier: GPL-3.0-or-later
"""What became of the files of a pull, and checking a pulled folder."""
from __future__ import annotations

import os
from ctypes import byref
from dataclasses import dataclass
from typing import Any

from . import _ffi
from ._handle import Progress, call, note_failure, progress_function
from .image import Path
from .words import FileState, Finding, _Word, finding_of


class Outcome(_Word):
    """What became of a file."""
    PULLED = 0
    ALREADY_THERE = 1
    LEFT_DAMAGED = 2
    LEFT_PROGRAM = 3
    LEFT_SPECIAL = 4
    BLOCKED = 5
    FAILED = 6


class Arrangement(_Word):
    """How pulled files lie in the folder."""
    TREE = 0
    YEAR = 1
    KIND = 2
    YEAR_KIND = 3

    @property
    def word(self) -> str:
        return super().word.replace("_", "/")


@dataclass(frozen=True)
class PulledFile:
    """One file of a pull."""
    path: str  #: On the disc.
    target: str  #: In the folder; empty when nothing was written.
    why: str  #: Of what was not pulled.
    outcome: Outcome
    state: FileState  #: What it is worth, as judged.
    shared: bool  #: `target` is the file of another path that has the same bytes.


@dataclass(frozen=True)
class PullReport:
    """What a pull did."""
    files: list[PulledFile]
    counts: dict[Outcome, int]
    bytes_written: int
    bytes_shared: int  #: Of files whose bytes the folder holds under another path.
    bag_closed: bool  #: The folder is a complete bag.
    findings: list[Finding]

    @classmethod
    def _of(cls, handle: Any) -> PullReport:
        try:
            info = _ffi.PullInfo()
            call("pull_report_get_info", handle, byref(info))
            files, findings = [], []
            for i in range(info.file_count):
                f = _ffi.PulledFile()
                call("pull_report_file", handle, i, byref(f))
                files.append(PulledFile(str(f.path), str(f.target), str(f.why), Outcome(f.outcome), FileState(f.state),
                                        bool(f.shared)))
            for i in range(info.finding_count):
                finding = _ffi.Finding()
                call("pull_report_finding", handle, i, byref(finding))
                findings.append(finding_of(finding))
            return cls(files, {o: info.outcomes[o] for o in Outcome}, info.bytes_written,
                       info.bytes_shared, bool(info.bag_closed), findings)
        finally:
            _ffi.library.lacuna_pull_report_free(handle)


@dataclass(frozen=True)
class VerifyProblem:
    """A file that is not as the manifest says."""
    kind: str
    path: str
    text: str


@dataclass(frozen=True)
class VerifyReport:
    """What checking a folder found."""
    files_right: int
    bytes_right: int
    not_whole: int  #: Files that the manifest lists as other than whole, as a reminder.
    problems: list[VerifyProblem]


def verify(folder: Path, *, threads: int = 0, progress: Progress | None = None) -> VerifyReport:
    """Checks a pulled folder against its manifest and checksums."""
    problems: list[VerifyProblem] = []

    def problem(_user: Any, kind: Any, path: Any, text: Any) -> int:
        try:
            problems.append(VerifyProblem(str(kind), str(path), str(text)))
            return 0
        except BaseException as e:
            return note_failure(e)

    options = _ffi.VerifyOptions(progress=progress_function(progress), problem=_ffi.ProblemFunction(problem),
                                 threads=threads)
    info = _ffi.VerifyInfo()
    call("verify", _ffi.text(os.fsencode(folder)), byref(options), byref(info))
    return VerifyReport(info.files_right, info.bytes_right, info.not_whole, problems)
