# SPDX-License-Identifier: GPL-3.0-or-later
"""The museum's disc (fixtures/author-museum), which LACUNA_MUSEUM names the folder of."""
import os
from pathlib import Path

import lacuna

FOLDER = Path(os.environ["LACUNA_MUSEUM"])
IMAGE, MAP = FOLDER / "museum.iso", FOLDER / "museum.map"
#: Twelve of its sectors can't be read.
HURT = "Pictures/1962/Regatta start.ppm"
WHOLE = "Pictures/1962/Fish market.ppm"


def open_museum() -> lacuna.Disc:
    """The disc with its map."""
    return lacuna.open_disc(IMAGE, maps=MAP)


class FileSource:
    """The image's sectors from Python; those in `bad` are bad, and `fail` is raised when one is read."""
    first_lba = 0

    def __init__(self, bad=(), fail=None):
        self.data = IMAGE.read_bytes()
        self.bad = set(bad)
        self.fail = fail

    @property
    def end_lba(self):
        return len(self.data) // lacuna.SECTOR_BYTES

    def read(self, lba, count):
        if self.fail is not None:
            raise self.fail
        size = lacuna.SECTOR_BYTES
        states = [lacuna.SectorState.BAD if at in self.bad else lacuna.SectorState.GOOD
                  for at in range(lba, lba + count)]
        return self.data[lba * size:(lba + count) * size], states
