# SPDX-License-Identifier: GPL-3.0-or-later
"""Finds and loads the shared library.

Looked for in this order: the file that the environment variable LACUNA_LIBRARY names; beside this package; where an
install puts it from here (PREFIX/lib, with or without the machine's own folder); wherever the loader finds it.
"""
from __future__ import annotations

import ctypes
import os
import sysconfig
from pathlib import Path

#: The interface that this package was written for; it is part of the library's name.
ABI_VERSION = 1
NAME = f"liblacuna.so.{ABI_VERSION}"


def _candidates() -> list[str]:
    here = Path(__file__).resolve().parent
    folders = [here]
    if len(here.parents) > 2:  # PREFIX/lib/python3/dist-packages/lacuna
        lib = here.parents[2]
        multiarch = sysconfig.get_config_var("MULTIARCH")
        folders += [lib / multiarch] if multiarch else []
        folders += [lib, lib.parent / "lib64"]
    return [str(folder / NAME) for folder in folders if (folder / NAME).exists()]


def load() -> ctypes.CDLL:
    """The library. Raises ImportError when there is none, or one of another interface."""
    named = os.environ.get("LACUNA_LIBRARY")
    path = named or next(iter(_candidates()), NAME)
    try:
        library = ctypes.CDLL(path)
    except OSError as e:
        raise ImportError(f"liblacuna can't be loaded: {e}; install it, or name it in LACUNA_LIBRARY") from e
    library.lacuna_abi_version.restype = ctypes.c_uint32
    found = library.lacuna_abi_version()
    if found != ABI_VERSION:
        raise ImportError(f"{path} has interface {found}, this package needs {ABI_VERSION}")
    return library
