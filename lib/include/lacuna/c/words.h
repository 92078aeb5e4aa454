// SPDX-License-Identifier: GPL-3.0-or-later
/// @file
/// The vocabulary of the C interface: states, views, evidence, basis; dates, runs and findings.
#ifndef LACUNA_C_WORDS_H
#define LACUNA_C_WORDS_H

#include <stddef.h>
#include <stdint.h>

#include "lacuna/c/error.h"
#include "lacuna/export.h"

#ifdef __cplusplus
extern "C" {
#endif

/// What is known of a sector, or of a stretch of a file. The greater of two is the worse.
typedef uint8_t lacuna_sector_state;
/// Values of ::lacuna_sector_state. Up to ::LACUNA_SECTOR_SUSPECT there are bytes.
enum lacuna_sector_state_value {
  LACUNA_SECTOR_GOOD = 0,      ///< Read without error.
  LACUNA_SECTOR_REPAIRED = 1,  ///< Failed its EDC, corrected by the parity and then agreed.
  LACUNA_SECTOR_SUSPECT = 2,   ///< Present, but something speaks against it.
  LACUNA_SECTOR_BAD = 3,       ///< A drive or the EDC says it can't be read.
  LACUNA_SECTOR_UNREAD = 4,    ///< Never tried, or a hole in a sparse image file.
  LACUNA_SECTOR_ABSENT = 5     ///< Outside the image: cut short, or starting late.
};

/// What is known of a file.
typedef uint32_t lacuna_file_state;
/// Values of ::lacuna_file_state.
enum lacuna_file_state_value {
  LACUNA_FILE_WHOLE = 0,     ///< A promise: every byte is in its place and was read.
  LACUNA_FILE_DOUBTFUL = 1,  ///< Every byte is there, but one is suspect or its place rests on facts that disagree.
  LACUNA_FILE_DAMAGED = 2,   ///< Some bytes are missing.
  LACUNA_FILE_LOST = 3,      ///< No byte is there.
  LACUNA_FILE_UNLOCATED = 4  ///< The name is known, where its data lies is not.
};

/// A name space over a volume.
typedef uint32_t lacuna_view;
/// Values of ::lacuna_view.
enum lacuna_view_value {
  LACUNA_VIEW_ALL = 0,        ///< As an option only: all of them united.
  LACUNA_VIEW_ROCKRIDGE = 1,  ///< ISO 9660 with Rock Ridge names.
  LACUNA_VIEW_UDF = 2,        ///< ECMA-167 / UDF.
  LACUNA_VIEW_JOLIET = 3,     ///< The Joliet tree.
  LACUNA_VIEW_ENHANCED = 4,   ///< ISO 9660:1999.
  LACUNA_VIEW_ISO9660 = 5     ///< The primary tree.
};

/// Where a file is known from.
typedef uint32_t lacuna_evidence;
/// Values of ::lacuna_evidence.
enum lacuna_evidence_value {
  LACUNA_EVIDENCE_TREE = 0,       ///< Its own directory.
  LACUNA_EVIDENCE_VIEW = 1,       ///< Another view of the volume.
  LACUNA_EVIDENCE_PATHTABLE = 2,  ///< A path table.
  LACUNA_EVIDENCE_SESSION = 3,    ///< An earlier session.
  LACUNA_EVIDENCE_SCAN = 4,       ///< Found by looking through all sectors.
  LACUNA_EVIDENCE_TWIN = 5        ///< Another disc.
};

/// What a `good` rests on; the greater of two is the weaker.
typedef uint32_t lacuna_basis;
/// Values of ::lacuna_basis.
enum lacuna_basis_value {
  LACUNA_BASIS_EDC = 0,     ///< Proven by the sectors' own codes.
  LACUNA_BASIS_MAP = 1,     ///< Said by whoever read the disc.
  LACUNA_BASIS_ASSUMED = 2  ///< Nobody says otherwise.
};

/// What a node of the tree is.
typedef uint32_t lacuna_node_kind;
/// Values of ::lacuna_node_kind.
enum lacuna_node_kind_value {
  LACUNA_NODE_DIRECTORY = 0,     ///< Directory.
  LACUNA_NODE_FILE = 1,          ///< Regular file.
  LACUNA_NODE_SYMLINK = 2,       ///< Symbolic link.
  LACUNA_NODE_BLOCK_DEVICE = 3,  ///< Block device.
  LACUNA_NODE_CHAR_DEVICE = 4,   ///< Character device.
  LACUNA_NODE_FIFO = 5,          ///< FIFO.
  LACUNA_NODE_SOCKET = 6         ///< Socket.
};

/// "good", "repaired", …: the word that Lacuna uses everywhere; empty for other numbers.
LACUNA_API lacuna_string lacuna_sector_state_word(uint32_t state);
/// "whole", "doubtful", …
LACUNA_API lacuna_string lacuna_file_state_word(lacuna_file_state state);
/// "rockridge", "udf", …; of ::LACUNA_VIEW_ALL empty.
LACUNA_API lacuna_string lacuna_view_word(lacuna_view view);
/// "tree", "view", …
LACUNA_API lacuna_string lacuna_evidence_word(lacuna_evidence evidence);
/// "edc", "map", "assumed".
LACUNA_API lacuna_string lacuna_basis_word(lacuna_basis basis);
/// "directory", "file", …
LACUNA_API lacuna_string lacuna_node_kind_word(lacuna_node_kind kind);

/// A point in time as a disc records it.
typedef struct lacuna_time {
  int64_t seconds;       ///< Since 1970-01-01T00:00:00Z.
  int32_t nanoseconds;   ///< 0..999999999
  int16_t zone_minutes;  ///< The zone it was written in, east of Greenwich.
  uint8_t known;         ///< 0: the disc does not say, all else is 0.
  uint8_t reserved;      ///< 0
} lacuna_time;

/// `count` sectors in one state.
typedef struct lacuna_sector_run {
  uint64_t first_lba;  ///< In sectors of 2048 bytes.
  uint64_t count;      ///< Sectors.
  uint32_t state;      ///< ::lacuna_sector_state
  uint32_t reserved;   ///< 0
} lacuna_sector_run;

/// `bytes` bytes of a file in one state.
typedef struct lacuna_byte_run {
  uint64_t offset;    ///< In the file.
  uint64_t bytes;     ///< Length.
  uint32_t state;     ///< ::lacuna_sector_state; ::LACUNA_SECTOR_GOOD stands for repaired ones too.
  uint32_t reserved;  ///< 0
} lacuna_byte_run;

/// Called a few times a second by long work, by one thread at a time: what is done ("pulling"; valid during the call
/// only), how many bytes are, and how many are expected (0: not known). Result: see rule 9.
typedef int32_t (*lacuna_progress_function)(void* user, lacuna_string task, uint64_t done_bytes, uint64_t total_bytes);

/// Something that the reading survived. Texts live as long as the handle that was asked.
typedef struct lacuna_finding {
  size_t struct_bytes;    ///< sizeof(lacuna_finding)
  uint32_t severity;      ///< 0 a note, 1 a doubt, 2 a loss.
  uint32_t has_lba;       ///< Whether `lba` tells anything.
  uint64_t lba;           ///< First sector concerned.
  lacuna_string kind;     ///< Stable key for scripts.
  lacuna_string subject;  ///< The structure or path it is about.
  lacuna_string clause;   ///< "ECMA-119 9.1.3", or empty.
  lacuna_string text;     ///< What was found and what was done about it, one line.
} lacuna_finding;

#ifdef __cplusplus
}
#endif

#endif
