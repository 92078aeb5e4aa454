// SPDX-License-Identifier: GPL-3.0-or-later
// Lists what is not whole on a disc, and counts the rest.
//
//   cc list_files.c -o list_files $(pkg-config --cflags --libs lacuna)
//   ./list_files museum.iso museum.map
#include <inttypes.h>
#include <stdio.h>

#include "lacuna/lacuna.h"

static int fail(lacuna_error* error) {
  fprintf(stderr, "%s\n", lacuna_error_message(error).data);
  lacuna_error_free(error);
  return 3;
}

// Prints one file unless it is whole, and says whether it is.
static int show(const lacuna_file* file) {
  lacuna_file_info info = {.struct_bytes = sizeof info};
  lacuna_file_get_info(file, &info, NULL);
  if (info.state == LACUNA_FILE_WHOLE) return 1;
  printf("%s: %s, %" PRIu64 " of %" PRIu64 " bytes missing\n", lacuna_file_state_word(info.state).data,
         lacuna_file_path(file).data, info.missing_bytes, info.size);
  return 0;
}

int main(int argc, char** argv) {
  if (argc != 3) return 2;
  lacuna_error* error = NULL;
  lacuna_image* image = NULL;
  lacuna_disc* disc = NULL;
  lacuna_files* files = NULL;
  lacuna_file* file = NULL;
  const lacuna_string path = lacuna_text(argv[1]), map = lacuna_text(argv[2]);
  const lacuna_image_options options = {.struct_bytes = sizeof options, .maps = &map, .map_count = 1};
  int whole = 0;

  if (lacuna_image_open(&path, 1, &options, &image, &error) != LACUNA_OK) return fail(error);
  if (lacuna_disc_open(image, NULL, &disc, &error) != LACUNA_OK) return fail(error);
  lacuna_image_free(image);  // the disc keeps what it needs
  if (lacuna_disc_files(disc, NULL, &files, &error) != LACUNA_OK) return fail(error);
  for (;;) {
    if (lacuna_files_next(files, &file, &error) != LACUNA_OK) return fail(error);
    if (file == NULL) break;
    whole += show(file);
    lacuna_file_free(file);
  }
  printf("%d files are whole\n", whole);
  lacuna_files_free(files);
  lacuna_disc_free(disc);
  return 0;
}
