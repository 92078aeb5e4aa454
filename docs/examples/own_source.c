// SPDX-License-Identifier: GPL-3.0-or-later
// Gives the library sectors of one's own: here a file, of which sectors 376 to 387 are told to be bad. Reads one file
// over the hole, with the state of each run of bytes, and once more up to the first byte that is missing.
//
//   cc own_source.c -o own_source $(pkg-config --cflags --libs lacuna)
//   ./own_source museum.iso 'Pictures/1962/Regatta start.ppm'
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lacuna/lacuna.h"

enum { SECTOR = 2048, FIRST_BAD = 376, END_BAD = 388 };

// Called by one thread at a time, as LACUNA_SOURCE_ONE_AT_A_TIME asks for.
static int32_t read_sectors(void* user, uint64_t lba, size_t count, uint8_t* bytes, lacuna_sector_state* states) {
  FILE* in = user;
  if (fseek(in, (long)(lba * SECTOR), SEEK_SET) != 0) return 1;
  const size_t got = fread(bytes, SECTOR, count, in);  // those beyond have no state: they count as bad
  for (size_t i = 0; i < got; ++i) {
    states[i] = lba + i >= FIRST_BAD && lba + i < END_BAD ? LACUNA_SECTOR_BAD : LACUNA_SECTOR_GOOD;
  }
  return 0;
}

static void close_file(void* user) { fclose(user); }

static int fail(lacuna_error* error) {
  fprintf(stderr, "%s\n", lacuna_error_message(error).data);
  lacuna_error_free(error);
  return 3;
}

int main(int argc, char** argv) {
  if (argc != 3) return 2;
  FILE* in = fopen(argv[1], "rb");
  if (in == NULL || fseek(in, 0, SEEK_END) != 0) return 3;
  lacuna_source source = {.struct_bytes = sizeof source, .user = in, .read = read_sectors, .release = close_file};
  source.end_lba = (uint64_t)ftell(in) / SECTOR;
  source.name = lacuna_text(argv[1]);
  source.flags = LACUNA_SOURCE_ONE_AT_A_TIME;

  lacuna_error* error = NULL;
  lacuna_image* image = NULL;
  lacuna_disc* disc = NULL;
  lacuna_file* file = NULL;
  if (lacuna_image_from_source(&source, &image, &error) != LACUNA_OK) return fail(error);
  if (lacuna_disc_open(image, NULL, &disc, &error) != LACUNA_OK) return fail(error);
  if (lacuna_disc_find(disc, lacuna_text(argv[2]), &file, &error) != LACUNA_OK) return fail(error);

  lacuna_file_info info = {.struct_bytes = sizeof info};
  lacuna_file_get_info(file, &info, NULL);
  printf("%s: %s\n", lacuna_file_path(file).data, lacuna_file_state_word(info.state).data);

  uint8_t* bytes = malloc(info.size);
  lacuna_byte_run runs[16];
  size_t got = 0, count = 0;
  if (lacuna_file_read_runs(file, 0, bytes, info.size, &got, runs, 16, &count, &error) != LACUNA_OK) return fail(error);
  for (size_t i = 0; i < count; ++i) {
    printf("bytes %" PRIu64 " to %" PRIu64 ": %s\n", runs[i].offset, runs[i].offset + runs[i].bytes - 1,
           lacuna_sector_state_word(runs[i].state).data);
  }
  if (lacuna_file_read(file, 0, bytes, info.size, &got, &error) != LACUNA_OK) return fail(error);
  printf("%zu bytes before the first that is missing\n", got);
  const lacuna_code code = lacuna_file_read(file, got, bytes, info.size, &got, NULL);
  printf("and there: %s\n", lacuna_error_text(code));

  free(bytes);
  lacuna_file_free(file);
  lacuna_disc_free(disc);
  lacuna_image_free(image);  // the last that needs the source: now it is closed
  return 0;
}
