/* SPDX-License-Identifier: GPL-3.0-or-later
 * LACUNA_API: what the shared library shows to others. All else in it is hidden. */
#ifndef LACUNA_EXPORT_H
#define LACUNA_EXPORT_H

#if defined(__GNUC__)
#define LACUNA_API __attribute__((visibility("default")))
/* A type that belongs to a public class and is nobody else's business. */
#define LACUNA_LOCAL __attribute__((visibility("hidden")))
#else
#define LACUNA_API
#define LACUNA_LOCAL
#endif

#endif
