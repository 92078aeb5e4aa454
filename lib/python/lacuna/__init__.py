# SPDX-License-Identifier: GPL-3.0-or-later
"""Salvages whole files from damaged images of optical discs.

    import lacuna

    with lacuna.open_disc("harbour.iso", maps="harbour.map") as disc:
        for file in disc.files("photos/**"):
            print(file.state.word, file.path)
        disc.pull("harbour-files")

Damage raises nothing: it is in the states. What can fail raises a LacunaError. The library does the work without
holding the interpreter's lock, so that threads help.
"""
from __future__ import annotations

from . import _ffi
from ._library import ABI_VERSION
from .disc import Disc, Scan, StateCount, Volume, open_disc
from .errors import (BadInputError, CallbackError, CancelledError, CannotWriteError, ErrorCode, InternalError,
                     LacunaError, MissingBytesError, NoFileSystemError, NotFoundError, NotReadableError,
                     OutOfMemoryError, UsageError)
from .file import Extent, File, FileInfo, FileStream, ReadResult
from .image import Image
from .pull import Arrangement, Outcome, PulledFile, PullReport, VerifyProblem, VerifyReport, verify
from .source import SectorSource
from .words import (SECTOR_BYTES, Basis, ByteRun, Evidence, FileFlag, FileState, Finding, NodeKind, SectorRun,
                    SectorState, Severity, View)

__version__: str = _ffi.library.lacuna_version().decode()

__all__ = [
    "ABI_VERSION", "SECTOR_BYTES", "Arrangement", "BadInputError", "Basis", "ByteRun", "CallbackError", "CancelledError",
    "CannotWriteError", "Disc", "ErrorCode", "Evidence", "Extent", "File", "FileFlag", "FileInfo", "FileState",
    "FileStream", "Finding", "Image", "InternalError", "LacunaError", "MissingBytesError", "NoFileSystemError",
    "NodeKind", "NotFoundError", "NotReadableError", "OutOfMemoryError", "Outcome", "PullReport", "PulledFile",
    "ReadResult", "Scan", "SectorRun", "SectorSource", "SectorState", "Severity", "StateCount", "UsageError",
    "VerifyProblem", "VerifyReport", "View", "Volume", "open_disc", "verify"
]
