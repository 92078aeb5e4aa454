# SPDX-License-Identifier: GPL-3.0-or-later
"""Images: the bytes of a disc as far as they were read, and the state of every sector."""
from __future__ import annotations

import os
from ctypes import byref, c_void_p, create_string_buffer
from typing import Any, Iterable, Sequence, Union

from . import _ffi
from ._handle import Handle, Progress, call, progress_function
from .errors import UsageError
from .source import SectorSource, forget, register
from .words import (SECTOR_BYTES, Basis, Finding, SectorRun, SectorState, finding_of, sector_runs_of)

Path = Union[str, bytes, "os.PathLike[str]", "os.PathLike[bytes]"]


def paths_of(given: Path | Iterable[Path]) -> list[bytes]:
    """One path or several, as bytes."""
    many = [given] if isinstance(given, (str, bytes, os.PathLike)) else list(given)
    return [os.fsencode(p) for p in many]


class Image(Handle):
    """An image. May be used from several threads."""

    def __init__(self, paths: Path | Iterable[Path], *, maps: Path | Iterable[Path] = (), starts_at: int = 0,
                 threads: int = 0, progress: Progress | None = None) -> None:
        """Opens a file, a block device, numbered parts (all in order, or the first) or a cue sheet."""
        listed, map_list = paths_of(paths), paths_of(maps)
        arrays = _ffi.texts(listed), _ffi.texts(map_list)
        options = _ffi.ImageOptions(maps=arrays[1], map_count=len(map_list), starts_at_lba=starts_at,
                                    progress=progress_function(progress), threads=threads)
        handle = c_void_p()
        call("image_open", arrays[0], len(listed), byref(options), byref(handle))
        super().__init__(handle.value, "lacuna_image_free")

    @classmethod
    def from_source(cls, source: SectorSource, *, known: Sequence[SectorRun] = (), name: str = "image",
                    last_sector_bytes: int = SECTOR_BYTES) -> Image:
        """An image of sectors that Python gives. `known` is what is known ahead, as a map would say it; without it
        nothing vouches for what is good."""
        struct, key = register(source, known, name, last_sector_bytes)
        handle = c_void_p()
        try:
            call("image_from_source", byref(struct), byref(handle))
        except BaseException:
            forget(key)
            raise
        image = cls.__new__(cls)
        Handle.__init__(image, handle.value, "lacuna_image_free")
        return image

    def _info(self) -> Any:
        info = _ffi.ImageInfo()
        self._call("image_get_info", byref(info))
        return info

    @property
    def first_lba(self) -> int:
        """The first sector of the image."""
        return int(self._info().first_lba)

    @property
    def end_lba(self) -> int:
        """One past the last."""
        return int(self._info().end_lba)

    @property
    def basis(self) -> Basis:
        """The weakest of all sectors that have bytes."""
        return Basis(self._info().basis)

    @property
    def has_map(self) -> bool:
        """Whether what is good is known, so that nothing is inferred from contents."""
        return bool(self._info().has_map)

    def findings(self) -> list[Finding]:
        """What the opening survived."""
        found = []
        for i in range(self._info().finding_count):
            finding = _ffi.Finding()
            self._call("image_finding", i, byref(finding))
            found.append(finding_of(finding))
        return found

    def read(self, lba: int, count: int) -> tuple[bytes, list[SectorState]]:
        """Bytes and states of `count` sectors; bytes of sectors without bytes are zero."""
        if lba < 0 or count < 0 or lba + count > 1 << 32:
            raise UsageError("no disc has these sectors")
        data, states = create_string_buffer(count * SECTOR_BYTES), create_string_buffer(count)
        self._call("image_read", lba, count, data, states)
        return data.raw, [SectorState(s) for s in states.raw]

    def sector_runs(self, first_lba: int | None = None, end_lba: int | None = None) -> list[SectorRun]:
        """What is known now of the sectors, absent ones included; default: of the image's."""
        info = self._info()
        runs = c_void_p()
        self._call("image_runs", info.first_lba if first_lba is None else first_lba,
                   info.end_lba if end_lba is None else end_lba, byref(runs))
        return sector_runs_of(runs)
