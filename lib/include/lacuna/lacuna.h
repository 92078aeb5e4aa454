// SPDX-License-Identifier: GPL-3.0-or-later
/// @file
/// The C interface of liblacuna: open an image of a damaged disc, see every file and what it is worth, read bytes
/// together with their states, and get files out. C99; other languages bind to it.
///
/// 1. Every call that can fail gives a ::lacuna_code; 0 is success. Its last parameter takes an error with the details;
///    it may be NULL. On success it is set to NULL, else to an error that the caller frees.
/// 2. Damage is no failure: it is in the states.
/// 3. Results come through pointers. They are set only on success, but pointers to handles are set to NULL on failure.
/// 4. A handle is freed by its own function, which takes NULL too. Handles keep what they need: an image may be freed
///    before its disc, and a disc before its files.
/// 5. Texts are UTF-8 with a length; those that the library gives also have a NUL behind them. They, and arrays that
///    the library gives, live as long as the handle that they were asked of.
/// 6. Structs begin with struct_bytes, which the caller sets to sizeof; all else zero means the defaults. Structs of
///    older versions (shorter ones) are taken. Longer ones are taken when what is beyond is zero. Structs without
///    struct_bytes never change within an ABI version.
/// 7. A NULL handle, a NULL where a result goes, an unknown flag or number: ::LACUNA_USAGE. Functions that give a value
///    and no code give an empty one.
/// 8. Every handle may be used from several threads at once, unless it says otherwise; freeing is for one thread, when
///    the others are done. The library has no global state.
/// 9. Callbacks give 0 to go on. ::LACUNA_CANCELLED ends the call with that code, any other number with
///    ::LACUNA_CALLBACK_FAILED and lacuna_error_callback_code(). Callbacks do not call back into the handle that they
///    serve. An exception that a C++ callback lets out counts as -1.
/// 10. No exception ever leaves the library.
#ifndef LACUNA_LACUNA_H
#define LACUNA_LACUNA_H

#include "lacuna/c/disc.h"
#include "lacuna/c/error.h"
#include "lacuna/c/file.h"
#include "lacuna/c/image.h"
#include "lacuna/c/pull.h"
#include "lacuna/c/words.h"

#endif
