#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Checks what the shared library shows: the C symbols of a list, what the public headers name, and nothing else.

Usage: symbols_check.py LIBRARY LIST HEADERS. The list's first line has the ABI version that its symbols belong to;
symbols may be added to it, and go away or change only with a new version of both.
"""
import re
import subprocess
import sys
from pathlib import Path

library, symbol_list, headers = map(Path, sys.argv[1:])
failures = []

lines = [line for line in symbol_list.read_text().splitlines() if line and not line.startswith("#")]
listed_abi, listed = int(lines[0].removeprefix("abi ")), set(lines[1:])
texts = [h.read_text() for h in sorted(headers.rglob("*.h"))]
public = "\n".join(re.sub(r"//.*", "", t) for t in texts)
abi = int(re.search(r"#define LACUNA_ABI_VERSION (\d+)", public).group(1))
if abi != listed_abi:
    failures.append(f"lacuna.h has ABI version {abi}, the list of symbols {listed_abi}: make it anew")

soname = subprocess.run(["objdump", "-p", library], check=True, capture_output=True, text=True).stdout
if f"SONAME               liblacuna.so.{abi}\n" not in soname:
    failures.append(f"the soname does not end with the ABI version {abi}")

output = subprocess.run(["nm", "-D", "--defined-only", "-C", library], check=True, capture_output=True,
                        text=True).stdout
symbols = [re.sub(r"@@?LACUNA_\d+$", "", line.split(" ", 2)[2]) for line in output.splitlines()]
c_symbols = {s for s in symbols if re.fullmatch(r"lacuna_\w+", s)}
for gone in sorted(listed - c_symbols):
    failures.append(f"{gone} is gone: that needs a new ABI version")
for new in sorted(c_symbols - listed):
    failures.append(f"{new} is new: add it to {symbol_list.name}")
declared = set(re.findall(r"\b(lacuna_\w+)\(", public))
for missing in sorted(listed - declared):
    failures.append(f"{missing} is in no public header")

words = set(re.findall(r"\w+", public))
for symbol in symbols:
    if symbol in c_symbols or symbol == f"LACUNA_{abi}":
        continue
    name = re.sub(r"^(vtable|typeinfo|typeinfo name) for ", "", symbol)
    name = re.sub(r"\[abi:\w+\]", "", name)
    # "lacuna::Tree::text(lacuna::TextRef) const" is lacuna, Tree, text.
    parts = re.split(r"::", re.match(r"[\w:~]*", name).group(0))
    if parts[0] != "lacuna" or "Impl" in parts or not all(p.lstrip("~") in words for p in parts[1:] if p):
        failures.append(f"{symbol} is of no public header")

for failure in failures:
    print(failure)
print(f"{len(c_symbols)} symbols of C, {len(symbols) - len(c_symbols)} of C++, {len(failures)} faults")
sys.exit(1 if failures or not c_symbols or len(symbols) == len(c_symbols) else 0)
