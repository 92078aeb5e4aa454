// SPDX-License-Identifier: GPL-3.0-or-later
// Proves that the header is C99, and holds the numbers and layouts of ABI version 1. What changes here needs a new
// LACUNA_ABI_VERSION; what is added gets a line of its own.
#include "c_interface.h"

#include "lacuna/lacuna.h"

#define IS_SO(name, condition) typedef char name[(condition) ? 1 : -1]
#define HAS(name, value) IS_SO(value_of_##name, (name) == (value))
#define SIZE(name, bytes) IS_SO(size_of_##name, sizeof(name) == (bytes))
#define AT(type, member, offset) IS_SO(place_of_##type##_##member, offsetof(type, member) == (offset))

HAS(LACUNA_ABI_VERSION, 1);
HAS(LACUNA_OK, 0);
HAS(LACUNA_USAGE, 1);
HAS(LACUNA_NOT_READABLE, 2);
HAS(LACUNA_NO_FILE_SYSTEM, 3);
HAS(LACUNA_BAD_INPUT, 4);
HAS(LACUNA_CANNOT_WRITE, 5);
HAS(LACUNA_CANCELLED, 6);
HAS(LACUNA_OUT_OF_MEMORY, 7);
HAS(LACUNA_CALLBACK_FAILED, 8);
HAS(LACUNA_MISSING_BYTES, 9);
HAS(LACUNA_NOT_FOUND, 10);
HAS(LACUNA_INTERNAL, 11);
HAS(LACUNA_SECTOR_GOOD, 0);
HAS(LACUNA_SECTOR_REPAIRED, 1);
HAS(LACUNA_SECTOR_SUSPECT, 2);
HAS(LACUNA_SECTOR_BAD, 3);
HAS(LACUNA_SECTOR_UNREAD, 4);
HAS(LACUNA_SECTOR_ABSENT, 5);
HAS(LACUNA_FILE_WHOLE, 0);
HAS(LACUNA_FILE_DOUBTFUL, 1);
HAS(LACUNA_FILE_DAMAGED, 2);
HAS(LACUNA_FILE_LOST, 3);
HAS(LACUNA_FILE_UNLOCATED, 4);
HAS(LACUNA_VIEW_ALL, 0);
HAS(LACUNA_VIEW_ROCKRIDGE, 1);
HAS(LACUNA_VIEW_UDF, 2);
HAS(LACUNA_VIEW_JOLIET, 3);
HAS(LACUNA_VIEW_ENHANCED, 4);
HAS(LACUNA_VIEW_ISO9660, 5);
HAS(LACUNA_EVIDENCE_TREE, 0);
HAS(LACUNA_EVIDENCE_VIEW, 1);
HAS(LACUNA_EVIDENCE_PATHTABLE, 2);
HAS(LACUNA_EVIDENCE_SESSION, 3);
HAS(LACUNA_EVIDENCE_SCAN, 4);
HAS(LACUNA_EVIDENCE_TWIN, 5);
HAS(LACUNA_BASIS_EDC, 0);
HAS(LACUNA_BASIS_MAP, 1);
HAS(LACUNA_BASIS_ASSUMED, 2);
HAS(LACUNA_NODE_DIRECTORY, 0);
HAS(LACUNA_NODE_FILE, 1);
HAS(LACUNA_NODE_SYMLINK, 2);
HAS(LACUNA_NODE_BLOCK_DEVICE, 3);
HAS(LACUNA_NODE_CHAR_DEVICE, 4);
HAS(LACUNA_NODE_FIFO, 5);
HAS(LACUNA_NODE_SOCKET, 6);
HAS(LACUNA_SOURCE_ONE_AT_A_TIME, 1);
HAS(LACUNA_SCAN_AUTO, 0);
HAS(LACUNA_SCAN_ALWAYS, 1);
HAS(LACUNA_SCAN_NEVER, 2);
HAS(LACUNA_DISC_ALL_SESSIONS, 1);
HAS(LACUNA_DISC_DELETED, 2);
HAS(LACUNA_DISC_STREAMS, 4);
HAS(LACUNA_DISC_UNCLAIMED, 8);
HAS(LACUNA_DISC_NO_LOOK_INSIDE, 16);
HAS(LACUNA_REPORT_SURVEY, 0);
HAS(LACUNA_REPORT_FILES, 1);
HAS(LACUNA_REPORT_HITS, 2);
HAS(LACUNA_FORMAT_TEXT, 0);
HAS(LACUNA_FORMAT_JSON, 1);
HAS(LACUNA_FORMAT_NDJSON, 2);
HAS(LACUNA_FORMAT_CSV, 3);
HAS(LACUNA_FILTER_DIRECTORIES, 1);
HAS(LACUNA_FILTER_IGNORE_CASE, 2);
HAS(LACUNA_FILE_HIDDEN, 1);
HAS(LACUNA_FILE_ASSOCIATED, 2);
HAS(LACUNA_FILE_BOOT, 8);
HAS(LACUNA_FILE_SIZE_GUESSED, 16);
HAS(LACUNA_FILE_INCOMPLETE, 64);
HAS(LACUNA_FILE_DELETED, 256);
HAS(LACUNA_FILE_STREAM, 512);
HAS(LACUNA_FILE_SYSTEM, 1024);
HAS(LACUNA_FILE_NAME_MADE, 4096);
HAS(LACUNA_FILE_RAW_SECTORS, 8192);
HAS(LACUNA_FILE_HAS_MODE, 65536);
HAS(LACUNA_PULL_IGNORE_CASE, 2);
HAS(LACUNA_PULL_DAMAGED, 4);
HAS(LACUNA_PULL_SKIP_PROGRAMS, 8);
HAS(LACUNA_PULL_PORTABLE_NAMES, 16);
HAS(LACUNA_PULL_REPLACE, 32);
HAS(LACUNA_PULL_FLAC, 64);
HAS(LACUNA_PULL_BAG, 128);
HAS(LACUNA_PULL_ONCE, 256);
HAS(LACUNA_ARRANGE_TREE, 0);
HAS(LACUNA_ARRANGE_YEAR, 1);
HAS(LACUNA_ARRANGE_KIND, 2);
HAS(LACUNA_ARRANGE_YEAR_KIND, 3);
HAS(LACUNA_OUTCOME_PULLED, 0);
HAS(LACUNA_OUTCOME_ALREADY_THERE, 1);
HAS(LACUNA_OUTCOME_LEFT_DAMAGED, 2);
HAS(LACUNA_OUTCOME_LEFT_PROGRAM, 3);
HAS(LACUNA_OUTCOME_LEFT_SPECIAL, 4);
HAS(LACUNA_OUTCOME_BLOCKED, 5);
HAS(LACUNA_OUTCOME_FAILED, 6);

SIZE(lacuna_code, 4);
SIZE(lacuna_sector_state, 1);
SIZE(lacuna_file_state, 4);
SIZE(lacuna_view, 4);
SIZE(lacuna_time, 16);
SIZE(lacuna_sector_run, 24);
SIZE(lacuna_byte_run, 24);
SIZE(lacuna_extent, 40);
SIZE(lacuna_state_count, 24);

// Of machines with 64-bit pointers; others have layouts of their own.
#if UINTPTR_MAX == UINT64_MAX
SIZE(lacuna_string, 16);
SIZE(lacuna_finding, 88);
SIZE(lacuna_image_options, 56);
SIZE(lacuna_image_info, 64);
SIZE(lacuna_source, 88);
SIZE(lacuna_disc_options, 80);
SIZE(lacuna_disc_info, 184);
SIZE(lacuna_volume, 176);
SIZE(lacuna_file_filter, 32);
SIZE(lacuna_file_info, 144);
SIZE(lacuna_pull_options, 88);
SIZE(lacuna_pull_info, 104);
SIZE(lacuna_pulled_file, 72);
SIZE(lacuna_verify_options, 48);
SIZE(lacuna_verify_info, 40);
AT(lacuna_finding, text, 72);
AT(lacuna_image_options, threads, 48);
AT(lacuna_image_info, has_map, 60);
AT(lacuna_source, read, 64);
AT(lacuna_source, flags, 84);
AT(lacuna_disc_options, flags, 72);
AT(lacuna_disc_info, also_present_count, 180);
AT(lacuna_volume, logical_block_bytes, 172);
AT(lacuna_file_filter, flags, 28);
AT(lacuna_file_info, group, 136);
AT(lacuna_pull_options, flags, 60);
AT(lacuna_pull_options, arrangement, 80);
AT(lacuna_pulled_file, state, 60);
AT(lacuna_verify_options, threads, 40);
AT(lacuna_verify_info, not_whole, 32);
#endif

lacuna_code open_from_c(const char* path, uint64_t* files) {
  const lacuna_string name = lacuna_text(path);
  lacuna_image* image = NULL;
  lacuna_disc* disc = NULL;
  lacuna_files* walk = NULL;
  lacuna_file* file = NULL;
  lacuna_code code = lacuna_image_open(&name, 1, NULL, &image, NULL);
  *files = 0;
  if (code == LACUNA_OK) code = lacuna_disc_open(image, NULL, &disc, NULL);
  if (code == LACUNA_OK) code = lacuna_disc_files(disc, NULL, &walk, NULL);
  while (code == LACUNA_OK) {
    code = lacuna_files_next(walk, &file, NULL);
    if (file == NULL) break;
    ++*files;
    lacuna_file_free(file);
  }
  lacuna_files_free(walk);
  lacuna_disc_free(disc);
  lacuna_image_free(image);
  return code;
}
