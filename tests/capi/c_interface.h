/* SPDX-License-Identifier: GPL-3.0-or-later
 * What is compiled as C, for the tests. */
#ifndef LACUNA_TESTS_C_INTERFACE_H
#define LACUNA_TESTS_C_INTERFACE_H

#include "lacuna/lacuna.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Opens an image and counts its files, without asking for details of errors. */
lacuna_code open_from_c(const char* path, uint64_t* files);

#ifdef __cplusplus
}
#endif

#endif
