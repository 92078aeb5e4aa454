#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Gets whole pictures out of an image, checks what was written, and copies a damaged one up to where it breaks off.

    ./rescue.py museum.iso museum.map FOLDER
"""
import errno
import sys

import lacuna

image, sector_map, folder = sys.argv[1:]
with lacuna.open_disc(image, maps=sector_map) as disc:
    print(disc.main_volume.volume_id, disc.main_volume.created.date())
    report = disc.pull(folder, "Pictures/**")
    print(report.counts[lacuna.Outcome.PULLED], "pulled,", report.counts[lacuna.Outcome.LEFT_DAMAGED], "left")
    checked = lacuna.verify(folder)
    print(checked.files_right, "are as the manifest says,", len(checked.problems), "are not")

    with disc.find("Pictures/1962/Regatta start.ppm").open() as damaged:
        start = b""
        try:
            while piece := damaged.read(4096):
                start += piece
        except OSError as e:
            print(errno.errorcode[e.errno], "behind", len(start), "bytes")
