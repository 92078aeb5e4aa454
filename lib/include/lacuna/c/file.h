// SPDX-License-Identifier: GPL-3.0-or-later
/// @file
/// Files: what each is worth, where it lies, and its bytes with their states.
#ifndef LACUNA_C_FILE_H
#define LACUNA_C_FILE_H

#include <stddef.h>
#include <stdint.h>

#include "lacuna/c/disc.h"

#ifdef __cplusplus
extern "C" {
#endif

/// One file or directory of a disc. Constant.
typedef struct lacuna_file lacuna_file;
/// A walk over files. For one thread.
typedef struct lacuna_files lacuna_files;

/// Which files a walk gives.
typedef struct lacuna_file_filter {
  size_t struct_bytes;         ///< sizeof(lacuna_file_filter)
  const lacuna_string* globs;  ///< `*` and `?` within a name, `**` over names, `[a-z]`; none: all. Without a '/' they
                               ///< match a last name anywhere; one that matches a directory takes all below it.
  size_t glob_count;           ///< Of `globs`.
  uint32_t states;             ///< Bits 1 << ::lacuna_file_state; 0: all.
  uint32_t flags;              ///< ::lacuna_filter_flag
} lacuna_file_filter;

/// Flags of ::lacuna_file_filter and ::lacuna_pull_options.
enum lacuna_filter_flag {
  LACUNA_FILTER_DIRECTORIES = 1,  ///< Give directories too (not when pulling).
  LACUNA_FILTER_IGNORE_CASE = 2   ///< Globs take ASCII letters of either case.
};

/// Facts that are either so or not.
enum lacuna_file_flag {
  LACUNA_FILE_HIDDEN = 1,          ///< Not to be shown (ECMA-119 9.1.6).
  LACUNA_FILE_ASSOCIATED = 2,      ///< An associated file, such as a resource fork.
  LACUNA_FILE_BOOT = 8,            ///< A boot image, under `_boot/`.
  LACUNA_FILE_SIZE_GUESSED = 16,   ///< The disc does not record the size.
  LACUNA_FILE_INCOMPLETE = 64,     ///< A directory of which not every record could be read.
  LACUNA_FILE_DELETED = 256,       ///< Its name is marked as deleted.
  LACUNA_FILE_STREAM = 512,        ///< A named stream of a file.
  LACUNA_FILE_SYSTEM = 1024,       ///< Marked as system file.
  LACUNA_FILE_NAME_MADE = 4096,    ///< No surviving byte names it: the name was made from its place.
  LACUNA_FILE_RAW_SECTORS = 8192,  ///< Its content is whole CD sectors behind a header, such as an audio track.
  LACUNA_FILE_HAS_MODE = 65536     ///< `mode`, `user` and `group` are recorded.
};

/// What is known of a file.
typedef struct lacuna_file_info {
  size_t struct_bytes;           ///< sizeof(lacuna_file_info)
  uint64_t size;                 ///< Content bytes; of a directory the recorded length.
  uint64_t missing_bytes;        ///< Without suspect ones.
  uint64_t suspect_bytes;        ///< Present, but something speaks against them.
  lacuna_time modified;          ///< As recorded.
  lacuna_time created;           ///< As recorded.
  lacuna_time accessed;          ///< As recorded.
  lacuna_string symlink_target;  ///< Of a symbolic link.
  lacuna_file_state state;       ///< What it is worth.
  lacuna_basis basis;            ///< What that rests on.
  lacuna_evidence evidence;      ///< Where it is known from.
  lacuna_view view;              ///< The view that its path's last name is from.
  lacuna_node_kind kind;         ///< File, directory, …
  uint32_t session;              ///< By number; 0: not known.
  uint32_t flags;                ///< ::lacuna_file_flag
  uint32_t version;              ///< ECMA-119 7.5 version number; 0: none.
  uint32_t mode;                 ///< POSIX st_mode with the file type.
  uint32_t user;                 ///< POSIX user number.
  uint32_t group;                ///< POSIX group number.
  uint32_t reserved;             ///< 0
} lacuna_file_info;

/// lacuna_extent::position of bytes that were never recorded and read as zeros.
#define LACUNA_POSITION_ZEROS UINT64_MAX
/// lacuna_extent::position of bytes whose place is not known any more.
#define LACUNA_POSITION_NOWHERE (UINT64_MAX - 1)

/// A piece of a file on the disc.
typedef struct lacuna_extent {
  uint64_t offset;       ///< In the file, or where it is stored compressed, in what is stored.
  uint64_t position;     ///< LBA * 2048 + byte, or one of the two above.
  uint64_t bytes;        ///< Content bytes.
  uint32_t unit_bytes;   ///< Interleaved: so many bytes of content …
  uint32_t gap_bytes;    ///< … then so many others, and so on. 0: contiguous.
  uint32_t raw_sectors;  ///< 1: `bytes`, `unit_bytes` and `gap_bytes` count 2352 for each sector.
  uint32_t reserved;     ///< 0
} lacuna_extent;

/// Begins a walk in the order of listings: parents before children, siblings by name. `filter` may be NULL.
LACUNA_API lacuna_code lacuna_disc_files(const lacuna_disc* disc, const lacuna_file_filter* filter,
                                         lacuna_files** files, lacuna_error** error);
/// The next file, which the caller frees; NULL at the end.
LACUNA_API lacuna_code lacuna_files_next(lacuna_files* files, lacuna_file** file, lacuna_error** error);
/// Ends a walk; NULL is fine.
LACUNA_API void lacuna_files_free(lacuna_files* files);
/// The file of a path, '/' between names, none at the start. Errors: not found.
LACUNA_API lacuna_code lacuna_disc_find(const lacuna_disc* disc, lacuna_string path, lacuna_file** file,
                                        lacuna_error** error);
/// Frees a file; NULL is fine.
LACUNA_API void lacuna_file_free(lacuna_file* file);

/// '/' between names, no leading one.
LACUNA_API lacuna_string lacuna_file_path(const lacuna_file* file);
/// Fills `info`.
LACUNA_API lacuna_code lacuna_file_get_info(const lacuna_file* file, lacuna_file_info* info, lacuna_error** error);
/// Its extents in order.
LACUNA_API lacuna_code lacuna_file_extents(const lacuna_file* file, const lacuna_extent** extents, size_t* count,
                                           lacuna_error** error);
/// Its stretches that are missing or suspect, in order, as judged.
LACUNA_API lacuna_code lacuna_file_gaps(const lacuna_file* file, const lacuna_byte_run** gaps, size_t* count,
                                        lacuna_error** error);
/// Why it is doubtful, in words. May read a few sectors.
LACUNA_API lacuna_code lacuna_file_doubts(const lacuna_file* file, const lacuna_string** doubts, size_t* count,
                                          lacuna_error** error);
/// Reads up to `size` bytes from `offset` into `bytes`; `got` is how many: fewer at the end of the file, and before a
/// byte that is missing. Suspect bytes are given. Errors: ::LACUNA_MISSING_BYTES when the byte at `offset` is missing.
/// Several threads may read one file; they wait for each other, so for speed each takes a handle of its own.
LACUNA_API lacuna_code lacuna_file_read(const lacuna_file* file, uint64_t offset, void* bytes, size_t size, size_t* got,
                                        lacuna_error** error);
/// The same over missing bytes, which are zero, with the states of all: `runs` takes `capacity` runs (1 or more), which
/// follow each other from `offset` to `offset + got`; `run_count` is how many. The read ends early where they would not
/// suffice.
LACUNA_API lacuna_code lacuna_file_read_runs(const lacuna_file* file, uint64_t offset, void* bytes, size_t size,
                                             size_t* got, lacuna_byte_run* runs, size_t capacity, size_t* run_count,
                                             lacuna_error** error);

#ifdef __cplusplus
}
#endif

#endif
