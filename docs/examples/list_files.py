#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Lists what is not whole on a disc, and counts the rest.

    ./list_files.py museum.iso museum.map
"""
import sys

import lacuna

image, sector_map = sys.argv[1:]
whole = 0
with lacuna.open_disc(image, maps=sector_map) as disc:
    for file in disc.files():
        if file.state == lacuna.FileState.WHOLE:
            whole += 1
        else:
            print(f"{file.state.word}: {file.path}, {file.info.missing_bytes} of {file.size} bytes missing")
print(whole, "files are whole")
