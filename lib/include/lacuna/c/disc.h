// SPDX-License-Identifier: GPL-3.0-or-later
/// @file
/// Discs: what an image holds, read and judged.
#ifndef LACUNA_C_DISC_H
#define LACUNA_C_DISC_H

#include <stddef.h>
#include <stdint.h>

#include "lacuna/c/image.h"

#ifdef __cplusplus
extern "C" {
#endif

/// What an image holds: its file systems were read and every file was judged. Constant.
typedef struct lacuna_disc lacuna_disc;

/// How to read and judge a disc.
typedef struct lacuna_disc_options {
  size_t struct_bytes;                ///< sizeof(lacuna_disc_options)
  lacuna_string names_charset;        ///< iconv name for 8-bit names; default UTF-8, else escaped.
  const uint64_t* session_starts;     ///< LBAs where sessions start, when the caller knows.
  size_t session_start_count;         ///< Of `session_starts`.
  lacuna_progress_function progress;  ///< May be NULL.
  void* progress_user;                ///< Its first argument.
  uint32_t threads;                   ///< 0: as many as the machine has.
  uint32_t session;                   ///< By number, from 1; 0: the last.
  lacuna_view view;                   ///< One view only; default: all of them united.
  uint32_t scan;                      ///< ::lacuna_scan
  uint32_t flags;                     ///< ::lacuna_disc_flag
  uint32_t reserved;                  ///< 0
} lacuna_disc_options;

/// When to go through all sectors for what is left of lost structures.
enum lacuna_scan {
  LACUNA_SCAN_AUTO = 0,    ///< When something that should be there could not be read.
  LACUNA_SCAN_ALWAYS = 1,  ///< Also when nothing is missing.
  LACUNA_SCAN_NEVER = 2    ///< Never.
};

/// Flags of ::lacuna_disc_options.
enum lacuna_disc_flag {
  LACUNA_DISC_ALL_SESSIONS = 1,    ///< Each session under its own folder `session-N`.
  LACUNA_DISC_DELETED = 2,         ///< Also what is named as deleted (UDF).
  LACUNA_DISC_STREAMS = 4,         ///< Also named streams, as `FILE:STREAM` beside their file (UDF).
  LACUNA_DISC_UNCLAIMED = 8,       ///< Also readable stretches that nothing claims, under `_unclaimed/`.
  LACUNA_DISC_NO_LOOK_INSIDE = 16  ///< Without a map, don't look at contents for fill: `whole` then says less.
};

/// Files of one state.
typedef struct lacuna_state_count {
  uint64_t files;          ///< Number.
  uint64_t bytes;          ///< Their sizes.
  uint64_t missing_bytes;  ///< Of these.
} lacuna_state_count;

/// What a disc is, and what can be had of it.
typedef struct lacuna_disc_info {
  size_t struct_bytes;           ///< sizeof(lacuna_disc_info)
  lacuna_state_count states[5];  ///< By ::lacuna_file_state, of all that are not directories.
  uint64_t hurt_directories;     ///< Directories of which something can't be read and is not known from elsewhere.
  uint64_t finding_count;        ///< For lacuna_disc_finding().
  lacuna_string scan_reason;     ///< Why all sectors were looked through; empty: they were not.
  uint32_t volume_count;         ///< For lacuna_disc_volume().
  uint32_t main_volume;          ///< The one that stands for the disc; UINT32_MAX: none was read.
  uint32_t session_count;        ///< Of the disc.
  lacuna_basis basis;            ///< What `good` rests on.
  uint32_t looked_inside;        ///< 0: asked for LACUNA_DISC_NO_LOOK_INSIDE, where it makes a difference.
  uint32_t also_present_count;   ///< For lacuna_disc_also_present().
} lacuna_disc_info;

/// What one volume says of itself. Texts without filler.
typedef struct lacuna_volume {
  size_t struct_bytes;           ///< sizeof(lacuna_volume)
  lacuna_string volume_id;       ///< The label.
  lacuna_string system_id;       ///< Of the system that it is for.
  lacuna_string volume_set_id;   ///< Of its set.
  lacuna_string publisher_id;    ///< Who published it.
  lacuna_string preparer_id;     ///< Who prepared it.
  lacuna_string application_id;  ///< What wrote it.
  uint64_t session_start_lba;    ///< Where its session starts.
  uint64_t descriptor_lba;       ///< Where its descriptor stands.
  uint64_t space_bytes;          ///< Its size as recorded.
  lacuna_time created;           ///< As recorded.
  lacuna_time modified;          ///< As recorded.
  uint32_t session;              ///< From 1.
  uint32_t in_tree;              ///< Whether the disc's tree shows its session.
  lacuna_view view;              ///< Its name space.
  uint32_t logical_block_bytes;  ///< 512 to 4096.
} lacuna_volume;

/// Reads the file systems of an image and judges every file. Without a map that reads the contents of all files once.
/// `options` may be NULL. Errors: usage (a view or session that is not there), no file system, cancelled, callback.
LACUNA_API lacuna_code lacuna_disc_open(const lacuna_image* image, const lacuna_disc_options* options,
                                        lacuna_disc** disc, lacuna_error** error);
/// Frees a disc; NULL is fine.
LACUNA_API void lacuna_disc_free(lacuna_disc* disc);
/// Fills `info`.
LACUNA_API lacuna_code lacuna_disc_get_info(const lacuna_disc* disc, lacuna_disc_info* info, lacuna_error** error);
/// The volume of a number, from 0; sessions in order.
LACUNA_API lacuna_code lacuna_disc_volume(const lacuna_disc* disc, size_t index, lacuna_volume* volume,
                                          lacuna_error** error);
/// The finding of a number, from 0.
LACUNA_API lacuna_code lacuna_disc_finding(const lacuna_disc* disc, size_t index, lacuna_finding* finding,
                                           lacuna_error** error);
/// Another file system or partition seen beside what was read ("HFS+"), by number, from 0; empty beyond.
LACUNA_API lacuna_string lacuna_disc_also_present(const lacuna_disc* disc, size_t index);
/// The sector states that the files were judged by; otherwise as lacuna_image_runs().
LACUNA_API lacuna_code lacuna_disc_runs(const lacuna_disc* disc, uint64_t first_lba, uint64_t end_lba,
                                        lacuna_runs** runs, lacuna_error** error);

/// What lacuna_disc_report() tells, and in which form.
enum lacuna_report {
  LACUNA_REPORT_SURVEY = 0,  ///< What the disc is, what is hurt, what can be had.
  LACUNA_REPORT_FILES = 1,   ///< Every file and its state.
  LACUNA_REPORT_HITS = 2,    ///< Every unreadable range, and what it hits.
  LACUNA_FORMAT_TEXT = 0,    ///< For people.
  LACUNA_FORMAT_JSON = 1,    ///< Schemas "lacuna/survey/1", "lacuna/files/1", "lacuna/hits/1".
  LACUNA_FORMAT_NDJSON = 2,  ///< Of files: one object a line. Else JSON.
  LACUNA_FORMAT_CSV = 3      ///< Of files. Else JSON.
};

/// Takes the next piece of output; pieces need not end at lines. Result: see rule 9.
typedef int32_t (*lacuna_write_function)(void* user, lacuna_string piece);

/// Writes a report piece by piece: the same as the command's.
LACUNA_API lacuna_code lacuna_disc_report(const lacuna_disc* disc, uint32_t report, uint32_t format,
                                          lacuna_write_function write, void* user, lacuna_error** error);

#ifdef __cplusplus
}
#endif

#endif
