# SPDX-License-Identifier: GPL-3.0-or-later
"""The C interface (lacuna/lacuna.h), declared for ctypes: structs, functions, nothing else."""
from __future__ import annotations

from ctypes import (CFUNCTYPE, POINTER, Structure, c_char, c_char_p, c_int16, c_int32, c_int64, c_size_t, c_uint8,
                    c_uint32, c_uint64, c_void_p, create_string_buffer, sizeof)
from typing import Any, Iterable

from ._library import load

library = load()


class Text(Structure):
    """lacuna_string"""
    _fields_ = [("data", POINTER(c_char)), ("bytes", c_size_t)]

    def __str__(self) -> str:
        raw: bytes = self.data[: self.bytes] if self.bytes else b""
        return raw.decode("utf-8", "surrogateescape")


class Time(Structure):
    """lacuna_time"""
    _fields_ = [("seconds", c_int64), ("nanoseconds", c_int32), ("zone_minutes", c_int16), ("known", c_uint8),
                ("reserved", c_uint8)]


class SectorRun(Structure):
    """lacuna_sector_run"""
    _fields_ = [("first_lba", c_uint64), ("count", c_uint64), ("state", c_uint32), ("reserved", c_uint32)]


class ByteRun(Structure):
    """lacuna_byte_run"""
    _fields_ = [("offset", c_uint64), ("bytes", c_uint64), ("state", c_uint32), ("reserved", c_uint32)]


class Extent(Structure):
    """lacuna_extent"""
    _fields_ = [("offset", c_uint64), ("position", c_uint64), ("bytes", c_uint64), ("unit_bytes", c_uint32),
                ("gap_bytes", c_uint32), ("raw_sectors", c_uint32), ("reserved", c_uint32)]


class StateCount(Structure):
    """lacuna_state_count"""
    _fields_ = [("files", c_uint64), ("bytes", c_uint64), ("missing_bytes", c_uint64)]


class Sized(Structure):
    """A struct that begins with its own size."""

    def __init__(self, **values: Any) -> None:
        super().__init__(struct_bytes=sizeof(type(self)), **values)


class Finding(Sized):
    """lacuna_finding"""
    _fields_ = [("struct_bytes", c_size_t), ("severity", c_uint32), ("has_lba", c_uint32), ("lba", c_uint64),
                ("kind", Text), ("subject", Text), ("clause", Text), ("text", Text)]


ProgressFunction = CFUNCTYPE(c_int32, c_void_p, Text, c_uint64, c_uint64)
WriteFunction = CFUNCTYPE(c_int32, c_void_p, Text)
ProblemFunction = CFUNCTYPE(c_int32, c_void_p, Text, Text, Text)
ReadFunction = CFUNCTYPE(c_int32, c_void_p, c_uint64, c_size_t, c_void_p, c_void_p)
ReleaseFunction = CFUNCTYPE(None, c_void_p)


def no_progress() -> Any:
    """The progress function of nobody."""
    make: Any = ProgressFunction
    return make()


class ImageOptions(Sized):
    """lacuna_image_options"""
    _fields_ = [("struct_bytes", c_size_t), ("maps", POINTER(Text)), ("map_count", c_size_t),
                ("starts_at_lba", c_uint64), ("progress", ProgressFunction), ("progress_user", c_void_p),
                ("threads", c_uint32), ("reserved", c_uint32)]


class ImageInfo(Sized):
    """lacuna_image_info"""
    _fields_ = [("struct_bytes", c_size_t), ("name", Text), ("first_lba", c_uint64), ("end_lba", c_uint64),
                ("end_byte", c_uint64), ("finding_count", c_uint64), ("basis", c_uint32), ("has_map", c_uint32)]


class Source(Sized):
    """lacuna_source"""
    _fields_ = [("struct_bytes", c_size_t), ("first_lba", c_uint64), ("end_lba", c_uint64),
                ("known", POINTER(SectorRun)), ("known_count", c_size_t), ("name", Text), ("user", c_void_p),
                ("read", ReadFunction), ("release", ReleaseFunction), ("last_sector_bytes", c_uint32),
                ("flags", c_uint32)]


class DiscOptions(Sized):
    """lacuna_disc_options"""
    _fields_ = [("struct_bytes", c_size_t), ("names_charset", Text), ("session_starts", POINTER(c_uint64)),
                ("session_start_count", c_size_t), ("progress", ProgressFunction), ("progress_user", c_void_p),
                ("threads", c_uint32), ("session", c_uint32), ("view", c_uint32), ("scan", c_uint32),
                ("flags", c_uint32), ("reserved", c_uint32)]


class DiscInfo(Sized):
    """lacuna_disc_info"""
    _fields_ = [("struct_bytes", c_size_t), ("states", StateCount * 5), ("hurt_directories", c_uint64),
                ("finding_count", c_uint64), ("scan_reason", Text), ("volume_count", c_uint32),
                ("main_volume", c_uint32), ("session_count", c_uint32), ("basis", c_uint32),
                ("looked_inside", c_uint32), ("also_present_count", c_uint32)]


class Volume(Sized):
    """lacuna_volume"""
    _fields_ = [("struct_bytes", c_size_t), ("volume_id", Text), ("system_id", Text), ("volume_set_id", Text),
                ("publisher_id", Text), ("preparer_id", Text), ("application_id", Text),
                ("session_start_lba", c_uint64), ("descriptor_lba", c_uint64), ("space_bytes", c_uint64),
                ("created", Time), ("modified", Time), ("session", c_uint32), ("in_tree", c_uint32),
                ("view", c_uint32), ("logical_block_bytes", c_uint32)]


class FileFilter(Sized):
    """lacuna_file_filter"""
    _fields_ = [("struct_bytes", c_size_t), ("globs", POINTER(Text)), ("glob_count", c_size_t), ("states", c_uint32),
                ("flags", c_uint32)]


class FileInfo(Sized):
    """lacuna_file_info"""
    _fields_ = [("struct_bytes", c_size_t), ("size", c_uint64), ("missing_bytes", c_uint64),
                ("suspect_bytes", c_uint64), ("modified", Time), ("created", Time), ("accessed", Time),
                ("symlink_target", Text), ("state", c_uint32), ("basis", c_uint32), ("evidence", c_uint32),
                ("view", c_uint32), ("kind", c_uint32), ("session", c_uint32), ("flags", c_uint32),
                ("version", c_uint32), ("mode", c_uint32), ("user", c_uint32), ("group", c_uint32),
                ("reserved", c_uint32)]


class PullOptions(Sized):
    """lacuna_pull_options"""
    _fields_ = [("struct_bytes", c_size_t), ("to", Text), ("globs", POINTER(Text)), ("glob_count", c_size_t),
                ("progress", ProgressFunction), ("progress_user", c_void_p), ("threads", c_uint32),
                ("flags", c_uint32), ("bag_elements", POINTER(Text)), ("bag_element_count", c_size_t),
                ("arrangement", c_uint32), ("reserved", c_uint32)]


class PullInfo(Sized):
    """lacuna_pull_info"""
    _fields_ = [("struct_bytes", c_size_t), ("outcomes", c_uint64 * 7), ("bytes_written", c_uint64),
                ("file_count", c_uint64), ("finding_count", c_uint64), ("bytes_shared", c_uint64),
                ("bag_closed", c_uint32), ("reserved", c_uint32)]


class PulledFile(Sized):
    """lacuna_pulled_file"""
    _fields_ = [("struct_bytes", c_size_t), ("path", Text), ("target", Text), ("why", Text), ("outcome", c_uint32),
                ("state", c_uint32), ("shared", c_uint32), ("reserved", c_uint32)]


class VerifyOptions(Sized):
    """lacuna_verify_options"""
    _fields_ = [("struct_bytes", c_size_t), ("progress", ProgressFunction), ("progress_user", c_void_p),
                ("problem", ProblemFunction), ("problem_user", c_void_p), ("threads", c_uint32),
                ("reserved", c_uint32)]


class VerifyInfo(Sized):
    """lacuna_verify_info"""
    _fields_ = [("struct_bytes", c_size_t), ("files_right", c_uint64), ("bytes_right", c_uint64),
                ("problem_count", c_uint64), ("not_whole", c_uint64)]


def _value(name: str, result: Any, *arguments: Any) -> None:
    function = getattr(library, "lacuna_" + name)
    function.restype, function.argtypes = result, list(arguments)


def _calls(*declared: tuple[Any, ...]) -> None:
    """Functions that give a code and take an error last."""
    for name, *arguments in declared:
        _value(name, c_int32, *arguments, POINTER(c_void_p))


_handle, _out = c_void_p, POINTER(c_void_p)
_value("version", c_char_p)
_value("error_text", c_char_p, c_int32)
_value("error_code", c_int32, _handle)
_value("error_message", Text, _handle)
_value("error_callback_code", c_int32, _handle)
for _name in ("error", "image", "runs", "disc", "files", "file", "pull_report"):
    _value(_name + "_free", None, _handle)
for _name in ("sector_state", "file_state", "view", "evidence", "basis", "node_kind"):
    _value(_name + "_word", Text, c_uint32)
_value("runs_count", c_size_t, _handle)
_value("runs_data", POINTER(SectorRun), _handle)
_value("disc_also_present", Text, _handle, c_size_t)
_value("file_path", Text, _handle)
_calls(
    ("image_open", POINTER(Text), c_size_t, POINTER(ImageOptions), _out),
    ("image_from_source", POINTER(Source), _out),
    ("image_get_info", _handle, POINTER(ImageInfo)),
    ("image_finding", _handle, c_size_t, POINTER(Finding)),
    ("image_read", _handle, c_uint64, c_size_t, c_void_p, c_void_p),
    ("image_runs", _handle, c_uint64, c_uint64, _out),
    ("disc_open", _handle, POINTER(DiscOptions), _out),
    ("disc_get_info", _handle, POINTER(DiscInfo)),
    ("disc_volume", _handle, c_size_t, POINTER(Volume)),
    ("disc_finding", _handle, c_size_t, POINTER(Finding)),
    ("disc_runs", _handle, c_uint64, c_uint64, _out),
    ("disc_report", _handle, c_uint32, c_uint32, WriteFunction, c_void_p),
    ("disc_files", _handle, POINTER(FileFilter), _out),
    ("files_next", _handle, _out),
    ("disc_find", _handle, Text, _out),
    ("file_get_info", _handle, POINTER(FileInfo)),
    ("file_extents", _handle, POINTER(POINTER(Extent)), POINTER(c_size_t)),
    ("file_gaps", _handle, POINTER(POINTER(ByteRun)), POINTER(c_size_t)),
    ("file_doubts", _handle, POINTER(POINTER(Text)), POINTER(c_size_t)),
    ("file_read", _handle, c_uint64, c_void_p, c_size_t, POINTER(c_size_t)),
    ("file_read_runs", _handle, c_uint64, c_void_p, c_size_t, POINTER(c_size_t), POINTER(ByteRun), c_size_t,
     POINTER(c_size_t)),
    ("disc_pull", _handle, POINTER(PullOptions), _out),
    ("pull_report_get_info", _handle, POINTER(PullInfo)),
    ("pull_report_file", _handle, c_size_t, POINTER(PulledFile)),
    ("pull_report_finding", _handle, c_size_t, POINTER(Finding)),
    ("verify", Text, POINTER(VerifyOptions), POINTER(VerifyInfo)),
)


def text(s: str | bytes) -> Text:
    """A text for the library. It keeps its bytes alive as long as it is."""
    raw = s.encode("utf-8", "surrogateescape") if isinstance(s, str) else s
    buffer = create_string_buffer(raw, len(raw) + 1)
    result = Text(buffer, len(raw))
    result.kept = buffer
    return result


def texts(many: Iterable[str | bytes]) -> Any:
    """An array of texts, which keeps their bytes alive; None of none."""
    items = [text(s) for s in many]
    if not items:
        return None
    array: Any = (Text * len(items))(*items)
    array.kept = items
    return array
