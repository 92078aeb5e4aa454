// SPDX-License-Identifier: GPL-3.0-or-later
/// @file
/// Getting files out into a folder, and checking them there.
#ifndef LACUNA_C_PULL_H
#define LACUNA_C_PULL_H

#include <stddef.h>
#include <stdint.h>

#include "lacuna/c/disc.h"
#include "lacuna/c/file.h"

#ifdef __cplusplus
extern "C" {
#endif

/// What became of the files of a pull. Constant.
typedef struct lacuna_pull_report lacuna_pull_report;

/// How pulled files lie in the folder.
typedef uint32_t lacuna_arrangement;
/// Values of ::lacuna_arrangement.
enum lacuna_arrangement_value {
  LACUNA_ARRANGE_TREE = 0,      ///< Under their paths on the disc.
  LACUNA_ARRANGE_YEAR = 1,      ///< By the year of their last modification.
  LACUNA_ARRANGE_KIND = 2,      ///< By kind: photos, video, audio, documents, other.
  LACUNA_ARRANGE_YEAR_KIND = 3  ///< Both.
};

/// What to pull, and how.
typedef struct lacuna_pull_options {
  size_t struct_bytes;                ///< sizeof(lacuna_pull_options)
  lacuna_string to;                   ///< The folder; made when missing.
  const lacuna_string* globs;         ///< As ::lacuna_file_filter has them; none: all.
  size_t glob_count;                  ///< Of `globs`.
  lacuna_progress_function progress;  ///< May be NULL.
  void* progress_user;                ///< Its first argument.
  uint32_t threads;                   ///< 0: as many as the machine has.
  uint32_t flags;                     ///< ::lacuna_pull_flag
  const lacuna_string* bag_elements;  ///< "Label: value" each, for bag-info.txt of a bag (RFC 8493, 2.2.2).
  size_t bag_element_count;           ///< Of `bag_elements`.
  lacuna_arrangement arrangement;     ///< How the files lie in the folder.
  uint32_t reserved;                  ///< 0
} lacuna_pull_options;

/// Flags of ::lacuna_pull_options.
enum lacuna_pull_flag {
  LACUNA_PULL_IGNORE_CASE = 2,      ///< As ::LACUNA_FILTER_IGNORE_CASE.
  LACUNA_PULL_DAMAGED = 4,          ///< Damaged files too, into `_damaged/`, with lists of their gaps.
  LACUNA_PULL_SKIP_PROGRAMS = 8,    ///< Leave programs inside the image; they are listed.
  LACUNA_PULL_PORTABLE_NAMES = 16,  ///< Names that also hold where letter case does not count.
  LACUNA_PULL_REPLACE = 32,         ///< Replace files that are in the way.
  LACUNA_PULL_BAG = 128,            ///< The folder becomes a BagIt bag (RFC 8493).
  LACUNA_PULL_ONCE = 256,           ///< Whole files that are equal are stored once. Not with ::LACUNA_PULL_REPLACE.
  LACUNA_PULL_FLAC = 64             ///< Audio tracks that are not damaged become FLAC instead of WAV.
};

/// What became of a file.
typedef uint32_t lacuna_pull_outcome;
/// Values of ::lacuna_pull_outcome.
enum lacuna_pull_outcome_value {
  LACUNA_OUTCOME_PULLED = 0,         ///< It is in the folder.
  LACUNA_OUTCOME_ALREADY_THERE = 1,  ///< It was, from an earlier run.
  LACUNA_OUTCOME_LEFT_DAMAGED = 2,   ///< Damaged, lost or unlocated, and not asked for.
  LACUNA_OUTCOME_LEFT_PROGRAM = 3,   ///< A program, left on request.
  LACUNA_OUTCOME_LEFT_SPECIAL = 4,   ///< A device, FIFO or socket, or a link that may lead outside.
  LACUNA_OUTCOME_BLOCKED = 5,        ///< Something else is there.
  LACUNA_OUTCOME_FAILED = 6          ///< Could not be written.
};

/// What a pull did in all.
typedef struct lacuna_pull_info {
  size_t struct_bytes;     ///< sizeof(lacuna_pull_info)
  uint64_t outcomes[7];    ///< Files, by ::lacuna_pull_outcome.
  uint64_t bytes_written;  ///< By this run.
  uint64_t file_count;     ///< For lacuna_pull_report_file().
  uint64_t finding_count;  ///< For lacuna_pull_report_finding().
  uint64_t bytes_shared;   ///< Of files whose bytes the folder holds under another path (::LACUNA_PULL_ONCE).
  uint32_t bag_closed;     ///< 1: the folder is a complete bag.
  uint32_t reserved;       ///< 0
} lacuna_pull_info;

/// What became of one file.
typedef struct lacuna_pulled_file {
  size_t struct_bytes;          ///< sizeof(lacuna_pulled_file)
  lacuna_string path;           ///< On the disc.
  lacuna_string target;         ///< In the folder; empty when nothing was written.
  lacuna_string why;            ///< Of what was not pulled.
  lacuna_pull_outcome outcome;  ///< What became of it.
  lacuna_file_state state;      ///< What it is worth, as judged.
  uint32_t shared;              ///< 1: `target` is the file of another path that has the same bytes.
  uint32_t reserved;            ///< 0
} lacuna_pulled_file;

/// Writes files, a manifest and checksums into a folder. Nothing is written outside it and nothing overwritten unless
/// asked for; run again, it does what is missing. Errors: usage, cannot write, bad input (of the manifest there),
/// cancelled, callback; what is done by then is kept.
LACUNA_API lacuna_code lacuna_disc_pull(const lacuna_disc* disc, const lacuna_pull_options* options,
                                        lacuna_pull_report** report, lacuna_error** error);
/// Fills `info`.
LACUNA_API lacuna_code lacuna_pull_report_get_info(const lacuna_pull_report* report, lacuna_pull_info* info,
                                                   lacuna_error** error);
/// The file of a number, from 0, in the order of listings.
LACUNA_API lacuna_code lacuna_pull_report_file(const lacuna_pull_report* report, size_t index, lacuna_pulled_file* file,
                                               lacuna_error** error);
/// The finding of a number, from 0.
LACUNA_API lacuna_code lacuna_pull_report_finding(const lacuna_pull_report* report, size_t index,
                                                  lacuna_finding* finding, lacuna_error** error);
/// Frees a report; NULL is fine.
LACUNA_API void lacuna_pull_report_free(lacuna_pull_report* report);

/// How to check a pulled folder.
typedef struct lacuna_verify_options {
  size_t struct_bytes;                ///< sizeof(lacuna_verify_options)
  lacuna_progress_function progress;  ///< May be NULL.
  void* progress_user;                ///< Its first argument.
  /// Called for each file that is not as the manifest says: "missing", "changed", "surplus", …, its path, and what is
  /// wrong in words. May be NULL. Result: see rule 9.
  int32_t (*problem)(void* user, lacuna_string kind, lacuna_string path, lacuna_string text);
  void* problem_user;  ///< Its first argument.
  uint32_t threads;    ///< 0: as many as the machine has.
  uint32_t reserved;   ///< 0
} lacuna_verify_options;

/// What checking found.
typedef struct lacuna_verify_info {
  size_t struct_bytes;     ///< sizeof(lacuna_verify_info)
  uint64_t files_right;    ///< Files that are as the manifest says.
  uint64_t bytes_right;    ///< Their bytes.
  uint64_t problem_count;  ///< All others.
  uint64_t not_whole;      ///< Files that the manifest lists as other than whole, as a reminder.
} lacuna_verify_info;

/// Checks a pulled folder against its manifest and checksums. `options` may be NULL. Errors: not readable (no
/// manifest), bad input (a bad line of it), cancelled, callback.
LACUNA_API lacuna_code lacuna_verify(lacuna_string folder, const lacuna_verify_options* options,
                                     lacuna_verify_info* info, lacuna_error** error);

#ifdef __cplusplus
}
#endif

#endif
