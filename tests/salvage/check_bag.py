#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Says of a folder whether it is a complete and valid BagIt bag of version 1.0 (RFC 8493), rule by rule.

    check_bag.py DIR...

A reader of its own, which shares nothing with Lacuna: Python's standard library only. Each is said to be valid, or the rules
that it breaks are printed. Exit status 1: not all are valid. Clause numbers are cited from memory. Only what a bag may hold that Lacuna
writes is taken: no fetch.txt, UTF-8 tag files, SHA-256 and SHA-512.
"""
import hashlib
import os
import re
import stat
import sys

ALGORITHMS = {"sha256": 64, "sha512": 128}
problems = []


def problem(clause, text):
    problems.append(f"{clause}: {text}")


def is_regular(path):
    return os.path.lexists(path) and stat.S_ISREG(os.lstat(path).st_mode)


def digest(path, algorithm):
    h = hashlib.new(algorithm)
    with open(path, "rb") as f:
        for block in iter(lambda: f.read(1 << 20), b""):
            h.update(block)
    return h.hexdigest()


def tag_lines(bag, name):
    """2.3: tag files are text in the declared encoding, lines end with LF, CR or CRLF."""
    with open(os.path.join(bag, name), "rb") as f:
        raw = f.read()
    if raw.startswith(b"\xef\xbb\xbf"):
        problem("2.3", f"{name} begins with a byte order mark")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        problem("2.3", f"{name} is not UTF-8")
        return []
    lines = re.split("\r\n|\r|\n", text)
    if lines and lines[-1] == "":
        lines.pop()
    return lines


def manifest(bag, name, algorithm):
    """2.1.3: 'checksum filepath' a line; LF, CR and % of a path are percent-encoded, and nothing else is."""
    out = {}
    for number, line in enumerate(tag_lines(bag, name), 1):
        match = re.fullmatch(r"([0-9A-Fa-f]+)[ \t]+(.+)", line, re.S)
        if not match or len(match[1]) != ALGORITHMS[algorithm]:
            problem("2.1.3", f"{name}:{number}: no {algorithm} checksum and path")
            continue
        if re.search("%(?!0A|0D|25)", match[2], re.I):
            problem("2.1.3", f"{name}:{number}: a percent sign that is not encoded")
        path = re.sub("%(0A|0D|25)", lambda m: chr(int(m[1], 16)), match[2], flags=re.I)
        # 5.1: paths that lead out of the bag.
        if path.startswith(("/", "~")) or any(part in ("", ".", "..") for part in path.split("/")):
            problem("5.1", f"{name}:{number}: the path leads elsewhere")
            continue
        if path in out:
            problem("2.1.3", f"{name}:{number}: a file is listed twice")
        out[path] = match[1].lower()
    return out


def check_sums(bag, name, algorithm, listed):
    for path, expected in listed.items():
        full = os.path.join(bag, path)
        if not is_regular(full):
            problem("3", f"{name} lists '{path}', which is not there")
        elif digest(full, algorithm) != expected:
            problem("3", f"'{path}' has another checksum than {name} says")


def check(bag):
    # 2.1.1: exactly two lines, no byte order mark.
    if not is_regular(os.path.join(bag, "bagit.txt")):
        return problem("2.1.1", "there is no bagit.txt")
    with open(os.path.join(bag, "bagit.txt"), "rb") as f:
        declaration = f.read()
    if not re.fullmatch(rb"BagIt-Version: 1\.0(\r\n|\n|\r)Tag-File-Character-Encoding: UTF-8(\r\n|\n|\r)?", declaration):
        problem("2.1.1", "bagit.txt does not declare version 1.0 and UTF-8")

    # 2.1.2: the payload directory.
    data = os.path.join(bag, "data")
    if not os.path.isdir(data) or os.path.islink(data):
        return problem("2.1.2", "there is no data/")
    payload, octets = set(), 0
    for folder, folders, names in os.walk(data):
        for name in names + [d for d in folders if os.path.islink(os.path.join(folder, d))]:
            full = os.path.join(folder, name)
            if not is_regular(full):
                problem("2.1.2", f"'{os.path.relpath(full, bag)}' is no file of bytes")
                continue
            payload.add(os.path.relpath(full, bag))
            octets += os.lstat(full).st_size

    top = sorted(n for n in os.listdir(bag) if is_regular(os.path.join(bag, n)))
    if "fetch.txt" in top:
        problem("2.2.3", "a fetch.txt, which Lacuna never writes")
    payload_manifests = [n for n in top if re.fullmatch(r"manifest-[a-z0-9]+\.txt", n)]
    tag_manifests = [n for n in top if re.fullmatch(r"tagmanifest-[a-z0-9]+\.txt", n)]
    if not payload_manifests:
        problem("2.1.3", "there is no payload manifest")
    for name in payload_manifests + tag_manifests:
        algorithm = name.split("-")[1][:-4]
        if algorithm not in ALGORITHMS:
            problem("2.4", f"{name} is of an algorithm that is not looked at here")
            continue
        listed = manifest(bag, name, algorithm)
        if name in payload_manifests:
            for path in listed:
                if not path.startswith("data/"):
                    problem("2.1.3", f"{name} lists '{path}', which is no payload")
            # 3: since version 1.0 every payload file is in every payload manifest.
            for path in sorted(payload - set(listed)):
                problem("3", f"{name} does not list '{path}'")
        else:
            # 2.2.1: tag files only, no tag manifest, and every payload manifest.
            for path in listed:
                if path.startswith("data/") or path in tag_manifests:
                    problem("2.2.1", f"{name} lists '{path}'")
            for path in payload_manifests:
                if path not in listed:
                    problem("2.2.1", f"{name} does not list {path}")
        check_sums(bag, name, algorithm, listed)

    if "bag-info.txt" in top:
        check_info(bag, octets, len(payload))


def check_info(bag, octets, streams):
    # 2.2.2: 'Label: value', continued on lines that begin with a blank.
    elements = []
    for number, line in enumerate(tag_lines(bag, "bag-info.txt"), 1):
        if line[:1] in (" ", "\t") and elements:
            elements[-1][1] += " " + line.strip()
            continue
        match = re.fullmatch(r"([^:\r\n]+):[ \t](.*)", line)
        if not match or match[1] != match[1].strip():
            problem("2.2.2", f"bag-info.txt:{number}: no label and value")
            continue
        elements.append([match[1], match[2]])
    values = {}
    for label, value in elements:
        values.setdefault(label.lower(), []).append(value)
    oxum = values.get("payload-oxum", [])
    if len(oxum) > 1:
        problem("2.2.2", "Payload-Oxum is there more than once")
    for value in oxum:
        if value != f"{octets}.{streams}":
            problem("2.2.2", f"Payload-Oxum is {value}, the payload has {octets}.{streams}")
    for value in values.get("bagging-date", []):
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", value):
            problem("2.2.2", "Bagging-Date is no date of the form YYYY-MM-DD")


broken = False
for bag in sys.argv[1:]:
    problems.clear()
    check(bag)
    for line in problems or ["valid"]:
        print(f"{bag}: {line}")
    broken = broken or bool(problems)
sys.exit(1 if broken else 0)
