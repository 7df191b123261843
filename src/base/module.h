/* Parts of the program that are loaded when they are first needed: a command, the picture, OpenCV.
   Each is a shared object beside the program, with the libraries that it alone needs, so that no
   other command waits for those to load. */
#ifndef TR_BASE_MODULE_H
#define TR_BASE_MODULE_H

#include "base/error.h"

/* Any function; to be cast to what it is. */
typedef void (*tr_function)(void);

/* What a module gives to the program; all else of it stays its own. */
#define TR_MODULE_EXPORT __attribute__((visibility("default")))

/* A function of the module trammel-NAME.so, which stays loaded; asking again costs next to nothing.
   NULL: the module or a library that it needs is not there (err says so). */
tr_function tr_module_function(const char *name, const char *function, tr_error *err);

#endif
