// SPDX-License-Identifier: GPL-3.0-or-later
/// @file
/// Images: the bytes of a disc as far as they were read, and the state of every sector.
#ifndef LACUNA_C_IMAGE_H
#define LACUNA_C_IMAGE_H

#include <stddef.h>
#include <stdint.h>

#include "lacuna/c/words.h"

#ifdef __cplusplus
extern "C" {
#endif

/// The bytes of a disc as far as they were read, and the state of every sector.
typedef struct lacuna_image lacuna_image;

/// How to open an image.
typedef struct lacuna_image_options {
  size_t struct_bytes;                ///< sizeof(lacuna_image_options)
  const lacuna_string* maps;          ///< Paths of sector maps; each sector has the worst state that any says.
  size_t map_count;                   ///< Of `maps`.
  uint64_t starts_at_lba;             ///< LBA of the image's first byte.
  lacuna_progress_function progress;  ///< May be NULL.
  void* progress_user;                ///< Its first argument.
  uint32_t threads;                   ///< 0: as many as the machine has.
  uint32_t reserved;                  ///< 0
} lacuna_image_options;

/// What an image is.
typedef struct lacuna_image_info {
  size_t struct_bytes;     ///< sizeof(lacuna_image_info)
  lacuna_string name;      ///< The first path as given.
  uint64_t first_lba;      ///< First sector of the image.
  uint64_t end_lba;        ///< One past the last.
  uint64_t end_byte;       ///< Byte address on the disc (LBA * 2048 + byte) behind the last byte present.
  uint64_t finding_count;  ///< For lacuna_image_finding().
  lacuna_basis basis;      ///< The weakest of all sectors that have bytes.
  uint32_t has_map;        ///< 1: what is good is known, and nothing is inferred from contents.
} lacuna_image_info;

/// Sectors from the caller. LBAs are the disc's, sectors have 2048 bytes.
typedef struct lacuna_source {
  size_t struct_bytes;             ///< sizeof(lacuna_source)
  uint64_t first_lba;              ///< The source has the sectors [first_lba, end_lba), at least one …
  uint64_t end_lba;                ///< … and ends at LBA 2^32 at the latest.
  const lacuna_sector_run* known;  ///< What is known ahead, as a map would say it: later runs win, unlisted sectors are
                                   ///< good. Copied. With none, nothing vouches for what is good.
  size_t known_count;              ///< Of `known`.
  lacuna_string name;              ///< For messages. Copied.
  void* user;                      ///< First argument of the functions.
  /// Reads `count` sectors from `lba` on, all inside the source, into `bytes` (count * 2048), and sets the
  /// ::lacuna_sector_state of each. Sectors whose state it leaves alone, or sets to something else, are bad. Bytes of
  /// sectors without bytes become zero. What it says is remembered: the worst state of a sector counts. Called by
  /// several threads at once unless `flags` says otherwise. Result: see rule 9; of a call that failed nothing is
  /// remembered. Must not be NULL.
  int32_t (*read)(void* user, uint64_t lba, size_t count, uint8_t* bytes, lacuna_sector_state* states);
  /// Called once, when the last handle that needs the source is freed; not when lacuna_image_from_source() fails. May
  /// be NULL.
  void (*release)(void* user);
  uint32_t last_sector_bytes;  ///< Bytes present of the last sector, 1 to 2048; 0: all.
  uint32_t flags;              ///< ::lacuna_source_flag
} lacuna_source;

/// Flags of ::lacuna_source.
enum lacuna_source_flag {
  LACUNA_SOURCE_ONE_AT_A_TIME = 1  ///< `read` is called by one thread at a time.
};

/// Opens an image: a file, a block device, numbered parts (all of them in order, or the first), or a cue sheet. Errors:
/// usage, not readable, bad input (of a map), cancelled.
LACUNA_API lacuna_code lacuna_image_open(const lacuna_string* paths, size_t path_count,
                                         const lacuna_image_options* options, lacuna_image** image,
                                         lacuna_error** error);
/// Makes an image of the caller's own sectors. Nothing is read yet. Errors: usage.
LACUNA_API lacuna_code lacuna_image_from_source(const lacuna_source* source, lacuna_image** image,
                                                lacuna_error** error);
/// Frees an image; NULL is fine.
LACUNA_API void lacuna_image_free(lacuna_image* image);
/// Fills `info`.
LACUNA_API lacuna_code lacuna_image_get_info(const lacuna_image* image, lacuna_image_info* info, lacuna_error** error);
/// The finding of a number, from 0.
LACUNA_API lacuna_code lacuna_image_finding(const lacuna_image* image, size_t index, lacuna_finding* finding,
                                            lacuna_error** error);
/// Reads `count` sectors into `bytes` (count * 2048) and their states into `states` (count). Bytes of sectors without
/// bytes are zero; sectors outside the image are absent.
LACUNA_API lacuna_code lacuna_image_read(const lacuna_image* image, uint64_t lba, size_t count, uint8_t* bytes,
                                         lacuna_sector_state* states, lacuna_error** error);

/// Sector states as runs. Constant.
typedef struct lacuna_runs lacuna_runs;

/// What is known now of the sectors [first_lba, end_lba), absent ones included; end_lba is at most 2^32.
LACUNA_API lacuna_code lacuna_image_runs(const lacuna_image* image, uint64_t first_lba, uint64_t end_lba,
                                         lacuna_runs** runs, lacuna_error** error);
/// How many there are.
LACUNA_API size_t lacuna_runs_count(const lacuna_runs* runs);
/// In order, joined, without gaps between; NULL when there are none.
LACUNA_API const lacuna_sector_run* lacuna_runs_data(const lacuna_runs* runs);
/// Frees runs; NULL is fine.
LACUNA_API void lacuna_runs_free(lacuna_runs* runs);

#ifdef __cplusplus
}
#endif

#endif
